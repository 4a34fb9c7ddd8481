/* Puts the service worker in place, on pages from which somebody goes on to where there may be no signal. */

/* Whether there can be pages without a signal: browsers keep them only for sites with https. */
export const possible = "serviceWorker" in navigator;

export async function install() {
  if (!possible) return;
  try { await navigator.serviceWorker.register("/sw.js"); } catch (error) { console.warn("No offline pages:", error.message); }
}
