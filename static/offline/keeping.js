/* On pages of lines: what the page names as `data-keeps-list` and `data-keeps-check` is kept for use without a signal. */

import { takeCheck, takeList, takePage } from "./checks.js";
import { install, possible } from "./worker.js";

/* Keep the wall of a line check with all that leads on from it; returns its package. */
export async function takeWall(id) {
  const pack = await takeCheck(id);
  await takePage(`/line-checks/${id}`);
  await takeList(pack.check.input_list);
  return pack;
}

/** @type {HTMLElement} */
const place = document.querySelector("[data-keeps-list], [data-keeps-check]");
if (place && possible) {
  const { keepsList, keepsCheck } = place.dataset;
  install();
  (keepsCheck ? takeWall(keepsCheck) : takeList(keepsList)).catch((error) => console.warn("Not kept:", error.message));
}
