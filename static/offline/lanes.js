/* The form that was taken along holds every lane; only those with trouble are shown, by a tap on their number. */

export function chooseLanes(form, facts) {
  const links = [...form.querySelectorAll("a[data-lane]")], chosen = new Set();
  if (!links.length) return;
  const contacts = (lane) => facts.wires.filter(([name]) => facts.lanes[lane].includes(name)).flatMap(([, a, b]) => [a, b]);
  const update = () => {
    const shown = new Set([...chosen].flatMap(contacts));
    const concerns = (names) => names.some((name) => shown.has(name));
    for (const row of form.querySelectorAll("[data-row]")) row.hidden = !concerns(facts.rows[row.dataset.row].slice(0, 1)) && facts.rows[row.dataset.row][2] !== null;
    for (const pair of form.querySelectorAll("[name=touch]")) pair.parentElement.hidden = !concerns(pair.value.split("+"));
    for (const link of links) link.toggleAttribute("aria-current", chosen.has(link.dataset.lane));
  };
  for (const link of links) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      if (!chosen.delete(link.dataset.lane)) chosen.add(link.dataset.lane);
      update();
    });
  }
  form.querySelector("details").open = false;
  update();
}
