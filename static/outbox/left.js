/* What pages say of the outbox to whoever is not signed in: a phone whose pass has ended still keeps what it could not
   send. Nothing is sent from here. */

import "../look/theme.js";
import { show } from "./status.js";
import { used } from "./store.js";

if (await used()) await show();
