/* The outbox's rules: what an answer means for an entry, and how long to wait before it is sent again.
   An entry is kept until a receipt names its id, and never expires. */

const FIRST = 1000; // ms before the second try, doubled each time
const MOST = 60_000;
const JITTER = 0.2; // so that thirty phones do not come back in step
const OLD = 24 * 3600 * 1000;

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

/* Milliseconds until the next try: what the service asks for, else longer each time. */
export function wait(tries, retryAfter, now = Date.now(), random = Math.random) {
  const asked = asMilliseconds(retryAfter, now);
  if (asked !== null) return asked;
  const grown = Math.min(MOST, FIRST * 2 ** Math.min(tries - 1, 10));
  return Math.round(grown * (1 + JITTER * (2 * random() - 1)));
}

function asMilliseconds(retryAfter, now) {
  if (!retryAfter) return null;
  const ms = /^\d+$/.test(retryAfter) ? Number(retryAfter) * 1000 : Date.parse(retryAfter) - now;
  return Number.isFinite(ms) ? Math.max(0, ms) : null;
}

/* Whether an entry still may be taken back, and waits for that. A clock that was set back must not hold it for years. */
export function undoable(entry, now = Date.now()) {
  return entry.state === "waiting" && !entry.tries && entry.made_at <= now && now < entry.not_before;
}

export function old(entry, now = Date.now()) {
  return now - entry.made_at > OLD;
}

/* Whether the service has another entry under this id: what was sent first is there, and nothing else goes there. */
export function known(answer) {
  return answer.status === 422 && Boolean(answer.body?.errors?.some?.(({ field }) => field === "id"));
}

/* The server's own sentence, for the person who has to settle it. */
export function sentence(answer) {
  return answer.body?.detail || `The service refused this with status ${answer.status}.`;
}
