/* The outbox's rules: what an answer means for an entry, and how long to wait before it is sent again.
   An entry is kept until a receipt names its id, and never expires. */

const FIRST = 1000; // ms before the second try, doubled each time
const MOST = 60_000;
const JITTER = 0.2; // so that thirty phones do not retry at the same moment
const OLD = 24 * 3600 * 1000;

export const TESTS = "/api/v1/tests";
const LATER = new Set([408, 429]);

/* What an answer means: `sent`, `rejoin` (nobody, or somebody else, is signed in), `refused` (a person has to look),
   `later`. `answer` is {status, body}, status 0 where none came; a 2xx without our id is some other page's. */
export function meaning(entry, answer) {
  const { status, body } = answer;
  if (status >= 200 && status < 300) return body?.id === entry.id ? "sent" : "later";
  if (status === 401 || status === 403) return "rejoin";
  if (status >= 400 && status < 500 && !LATER.has(status)) return "refused";
  return "later";
}

/* Whether the answer is about this entry alone, so that the others may still go. */
export function onlyThis(answer) {
  return answer.status === 500;
}

/* Milliseconds until the next try: as the service asks, else longer each time. */
export function wait(tries, retryAfter, now = Date.now(), random = Math.random) {
  const requested = asMilliseconds(retryAfter, now);
  if (requested !== null) return requested;
  const grown = Math.min(MOST, FIRST * 2 ** Math.min(tries - 1, 10));
  return Math.round(grown * (1 + JITTER * (2 * random() - 1)));
}

function asMilliseconds(retryAfter, now) {
  if (!retryAfter) return null;
  const ms = /^\d+$/.test(retryAfter) ? Number(retryAfter) * 1000 : Date.parse(retryAfter) - now;
  return Number.isFinite(ms) ? Math.max(0, ms) : null;
}

/* Whether an entry was never sent, so that only this phone has it. */
export function unsent(entry) {
  return entry.state === "waiting" && !entry.tries;
}

/* Whether an entry waits in case it is taken back. A clock that was set back must not delay it for years. */
export function undoable(entry, now = Date.now()) {
  return unsent(entry) && entry.made_at <= now && now < entry.not_before;
}

/* The last of what one person did on this phone, the newest first, that can still be taken back or said to be wrong:
   `entries` that wait, and `sent` tests. What was said to be wrong already is left out. */
export function takeable(entries, sent, who, most = 5) {
  const waiting = entries.filter((entry) => entry.who === who && entry.state !== "needs_attention");
  const wrong = new Set(waiting.map((entry) => entry.body.test).filter(Boolean));
  const tests = waiting.filter((entry) => !entry.body.test && (unsent(entry) || entry.url === TESTS));
  const gone = new Set(tests.map((entry) => entry.id));
  return [...tests, ...sent.filter((one) => one.who === who && !gone.has(one.id))]
    .filter((one) => !wrong.has(one.id))
    .sort((one, other) => other.made_at - one.made_at).slice(0, most);
}

export function old(entry, now = Date.now()) {
  return now - entry.made_at > OLD;
}

/* Whether the service has another entry under this id: the first one stays, and no other can have the id. */
export function known(answer) {
  return answer.status === 422 && Boolean(answer.body?.errors?.some?.(({ field }) => field === "id"));
}

/* The server's own sentence, for the person who has to decide what to do. */
export function sentence(answer) {
  return answer.body?.detail || `The service refused this with status ${answer.status}.`;
}
