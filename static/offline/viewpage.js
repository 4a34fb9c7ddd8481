/* A page whose buttons log a verdict and that has other views, beside the test form: lamps, lane by lane. */

import { arm } from "./arming.js";
import { showViews } from "./showing.js";

showViews(arm);
arm();
