/* Buttons that log a verdict are armed once a hand can have tested: after the item's code was tapped, or two seconds after
   the page came up, in which a second tap meant for the item before has long fallen; one second where its tag was scanned,
   since that ends in a tap too. It is the time somebody looks at the page: in the background none goes by. Until then they
   say so, by sight and to screen readers, and do nothing. */

const WAIT = 2000, AFTER_SCAN = 1000; // ms; the service has the same where there is no script (service/testlog/confirmation.py)
let last = null; // removes the listeners of the previous view

/* Arm the buttons beside the page's sign, if it has one (templates/parts/held.html). */
export function arm() {
  /** @type {HTMLButtonElement | null} */
  const hold = document.querySelector("[data-hold]");
  const sign = document.querySelector("[data-arming]");
  last?.abort();
  if (!sign) return;
  last = new AbortController();
  const { signal } = last, bar = sign.parentElement, buttons = bar.querySelectorAll("button");
  const wait = "scanned" in sign.dataset ? AFTER_SCAN : WAIT;
  let since = Infinity, timer = 0, down = null; // since when they are armed; when the finger was put down

  function say(what) {
    for (const each of /** @type {Iterable<HTMLElement>} */ (sign.children)) each.hidden = each.dataset.says !== what;
  }
  function set(armed) {
    clearTimeout(timer);
    since = armed ? performance.now() : Infinity;
    for (const button of buttons) button.setAttribute("aria-disabled", String(!armed));
    say(armed ? "armed" : "waiting");
  }
  function begin() {
    set(false);
    hold?.setAttribute("aria-pressed", "false");
    if (document.visibilityState === "visible") timer = setTimeout(set, wait, true);
  }

  for (const button of buttons) button.setAttribute("aria-describedby", sign.id);
  sign.hidden = false;
  begin();
  document.addEventListener("visibilitychange", () => { if (since === Infinity) begin(); }, { signal });
  addEventListener("pageshow", (event) => { if (event.persisted) begin(); }, { signal }); // back from the browser's cache
  bar.addEventListener("pointerdown", (event) => { down = event.timeStamp; }, { capture: true, signal });
  bar.addEventListener("keydown", (event) => { if (event.repeat) event.preventDefault(); }, { signal }); // Enter held down clicks on and on
  // A click counts by the time at which it was made: a busy phone may deliver it long after. Keys make clicks, too.
  bar.addEventListener("click", (event) => {
    const made = down ?? event.timeStamp;
    down = null;
    if (made >= since || !(/** @type {Element} */ (event.target).closest("button"))) return;
    event.preventDefault();
    event.stopPropagation();
    say("refused");
  }, { capture: true, signal });
  if (!hold) return;
  hold.disabled = false;
  hold.addEventListener("click", () => {
    set(true);
    hold.setAttribute("aria-pressed", "true");
  }, { signal });
}

/* Whether this address was opened for a scanned tag. It says so only once: opened again, no tag was scanned for it. */
export function scannedFor() {
  const url = new URL(location.href), scanned = url.searchParams.has("scanned");
  url.searchParams.delete("scanned");
  if (scanned) history.replaceState(history.state, "", url);
  return scanned;
}
