/* The test form's own page, as the service sends it. */

import { arm, scannedFor } from "./arming.js";
import { bind } from "./form.js";
import { showViews } from "./showing.js";
import { install } from "./worker.js";

function opened() {
  const form = document.querySelector("form[data-test]");
  if (form && document.body.dataset.who) bind(form, JSON.parse(form.dataset.test));
  arm();
}

scannedFor();
showViews(opened);
opened();
install();
