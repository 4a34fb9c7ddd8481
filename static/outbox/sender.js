/* Sending an entry: one request, from one page at a time. */

const TIMEOUT = 20_000; // ms until a request without an answer counts as lost
const LOCK = "coilbook-outbox";
const LEASE = "coilbook.sender";

/* A random UUID (version 4). randomUUID exists only where there is https. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/* Send one entry: {status, body, after}; status 0 if no answer came. With `keepalive` it is sent even if the page closes. */
export async function post(entry, keepalive = false) {
  const cut = new AbortController(), timer = setTimeout(() => cut.abort(), TIMEOUT);
  try {
    // The service sees by the person's id that nobody else's sign-in sends this, and by `sent_at` how wrong the clock is.
    const response = await fetch(entry.url, {
      method: "POST", redirect: "error", cache: "no-store", signal: cut.signal, keepalive,
      headers: { "Content-Type": "application/json", "Coilbook-Person": entry.who },
      body: JSON.stringify({ ...entry.body, sent_at: new Date().toISOString() }),
    });
    const text = await response.text();
    return { status: response.status, body: parsed(text), after: response.headers.get("Retry-After") };
  } catch {
    return { status: 0 };
  } finally {
    clearTimeout(timer);
  }
}

function parsed(text) {
  try { return JSON.parse(text); } catch { return null; }
}

/* Only one page sends. Without the Web Locks API (plain http), an expiring lease is used; two senders would do no harm,
   since the service takes an id once. */
export async function alone(work) {
  if (navigator.locks) return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => lock && work());
  const [since, owner] = (kept(LEASE) ?? "").split(" ");
  if (owner && owner !== page && Math.abs(Date.now() - Number(since)) < TIMEOUT) return undefined;
  keptAs(LEASE, `${Date.now()} ${page}`);
  try { return await work(); } finally { keptAs(LEASE, ""); }
}
const page = newId();
function kept(key) { try { return localStorage.getItem(key); } catch { return null; } }
function keptAs(key, value) { try { localStorage.setItem(key, value); } catch { /* then there is one page at the most */ } }

