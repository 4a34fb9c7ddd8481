/* Registers the service worker, on pages from which people go to where there may be no signal. */

/* Whether pages can work without a signal: browsers allow service workers only with https. */
export const possible = "serviceWorker" in navigator;

export async function install() {
  if (!possible) return;
  try { await installed(); } catch (error) { console.warn("No offline pages:", error.message); }
}

/* Wait until it is active. Throws if it, or a page that it caches, could not be loaded: `ready` would wait forever. */
export async function installed() {
  const registration = await navigator.serviceWorker.register("/sw.js"), coming = registration.installing;
  if (!coming) return void await navigator.serviceWorker.ready;
  await new Promise((resolve, reject) => {
    const look = () => {
      if (registration.active) resolve();
      else if (coming.state === "redundant") reject(new Error("its pages did not come"));
    };
    coming.onstatechange = look;
    look();
  });
}
