/* Keep the screen awake while this page is shown. */

async function stayAwake() {
  try { await navigator.wakeLock?.request("screen"); } catch { /* its battery is low, or the page is hidden */ }
}

export function keepAwake() {
  stayAwake();
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") stayAwake(); });
}
