/* Puts the service worker in place, on pages from which somebody goes on to where there may be no signal. */

/* Whether there can be pages without a signal: browsers keep them only for sites with https. */
export const possible = "serviceWorker" in navigator;

export async function install() {
  if (!possible) return;
  try { await installed(); } catch (error) { console.warn("No offline pages:", error.message); }
}

/* Until it is in place. Throws where it, or a page that it keeps, could not be loaded: `ready` would be waited for for ever. */
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
