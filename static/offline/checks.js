/* What the phone keeps of line checks: the package by which each is judged, and pages as they were: its wall, the input list and
   the plug cards. */

import { entries, me } from "../outbox/outbox.js";
import { taken } from "../outbox/store.js";
import { CAUSES, HEARD, codesOf, standings, withSwaps } from "../lines/listening.js";
import { LASTS, loaded } from "./package.js";

export const check = (id) => taken.get(`check:${id}`);
export const checks = () => latest("check:");
export const pageAt = (address) => taken.get(`page:${address}`);
export const pages = () => latest("page:");

async function latest(prefix) {
  return (await taken.all(prefix)).sort((one, other) => other.loaded_at - one.loaded_at);
}

/* Load the package of a line check; returns what is saved. */
export async function takeCheck(id) {
  const asked_at = Date.now();
  return keepCheck({ ...await loaded(`/api/v1/line-checks/${id}/package`), asked_at, loaded_at: asked_at });
}

export async function keepCheck(pack) {
  await taken.put(`check:${pack.check.id}`, pack);
  return pack;
}

/* Keep a page as it is with a signal, in place of what is older. */
export async function takePage(address) {
  const answer = await fetch(address, { cache: "no-store", headers: { Accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html"), main = page.querySelector(".page"), bar = page.querySelector(".actions");
  for (const each of main.querySelectorAll("[data-outbox], [data-online], .news")) each.remove();
  for (const each of bar.querySelectorAll("[data-online]")) each.remove();
  const title = page.title.split(" · ")[0];
  await taken.put(`page:${address}`, { address, title, main: main.innerHTML, actions: bar.innerHTML, loaded_at: Date.now() });
}

/* Keep all of an input list's pages, and forget what is too old to lead anybody. */
export async function takeList(id) {
  for (const address of [`/inputs/${id}`, `/inputs/${id}/cards`]) await takePage(address);
  const old = (at) => Date.now() - at > LASTS;
  for (const { address, loaded_at } of await pages()) if (old(loaded_at)) await taken.drop(`page:${address}`);
  for (const { check: { id: one }, loaded_at } of await checks()) if (old(loaded_at)) await taken.drop(`check:${one}`);
  for (const { body, told_at } of await taken.all("told:")) if (old(told_at)) await taken.drop(`told:${body.id}`);
}

/* How the channels stand by all that is known here, and the package as it is by then: {sounds, pack}. */
export async function standing(pack) {
  const sent = (await taken.all("told:").catch(() => [])).filter((one) => one.told_at > pack.asked_at);
  const here = [...sent, ...(await entries()).filter(({ who }) => who === me())];
  const mine = here.filter(({ url, body }) => ![HEARD, CAUSES].includes(url) || body.check === pack.check.id);
  return { sounds: standings(pack.check.channels, mine, codesOf(pack)), pack: withSwaps(pack, mine) };
}
