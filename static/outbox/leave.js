/* Signing out: if nothing waits, everything on the phone is cleared; else the person is told first what stays. */

import { entries, flush } from "./outbox.js";

/** @type {HTMLFormElement} */
const form = document.querySelector("[data-leave]");
const button = form.querySelector("button");
let warned = false;

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  await flush(true);
  const waiting = (await entries()).length;
  if (waiting && !warned) return warn(waiting);
  if (!waiting) form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "clear", value: "yes" }));
  try { localStorage.removeItem("coilbook.me"); } catch { /* it was never there */ }
  return form.submit();
});

function warn(waiting) {
  warned = true;
  const words = `${waiting} ${waiting === 1 ? "test is" : "tests are"} on this phone and could not be sent yet. `
    + "They stay if you sign out, but only you can send them, once you are signed in here again.";
  const notice = Object.assign(document.createElement("p"), { className: "notice is-fail", textContent: words });
  notice.setAttribute("role", "alert");
  form.before(notice);
  button.textContent = "Sign out all the same";
}
