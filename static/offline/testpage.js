/* The test form's own page, as the service sends it. */

import { bind } from "./form.js";
import { install } from "./worker.js";

const form = document.querySelector("form[data-test]");
if (document.body.dataset.who) bind(form, JSON.parse(form.dataset.test));
install();
