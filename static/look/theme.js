/* The light and dark switch. Without script a page follows the phone's own setting, and the switch stays hidden.
   A choice that equals the phone's setting is forgotten, so that the page follows the phone again. */
const page = document.documentElement;
const phone = matchMedia("(prefers-color-scheme: dark)");
const kept = {
  read() {
    try { return localStorage.getItem("theme"); } catch { return null; }
  },
  write(theme) {
    try {
      if (theme) localStorage.setItem("theme", theme);
      else localStorage.removeItem("theme");
    } catch { /* Private windows may refuse storage; the choice then lasts for this page. */ }
  },
};

function shown() {
  return page.dataset.theme ?? (phone.matches ? "dark" : "light");
}

function wear(theme) {
  if (theme === "light" || theme === "dark") page.dataset.theme = theme;
  else delete page.dataset.theme;
  for (const button of document.querySelectorAll("[data-theme-switch]")) {
    button.hidden = false;
    button.setAttribute("aria-pressed", String(shown() === "dark"));
  }
}

for (const button of document.querySelectorAll("[data-theme-switch]")) {
  button.addEventListener("click", () => {
    const wanted = shown() === "dark" ? "light" : "dark";
    const choice = wanted === (phone.matches ? "dark" : "light") ? null : wanted;
    kept.write(choice);
    wear(choice);
  });
}
phone.addEventListener("change", () => wear(kept.read()));
wear(kept.read());
