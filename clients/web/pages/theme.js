/** Dark or light, as chosen on this device. Kept here only; dark until somebody chooses. */

const KEY = "roomlink.theme";

/** @returns {string} */
function stored() {
  try {
    return localStorage.getItem(KEY) ?? "dark";
  } catch {
    // Storage may be forbidden; the choice then lasts as long as the page.
    return "dark";
  }
}

/** @param {string} theme */
function apply(theme) {
  document.documentElement.dataset.theme = theme;
  const button = document.getElementById("theme");
  if (!button) return;
  button.textContent = theme === "dark" ? "Light" : "Dark";
  button.setAttribute("aria-label", theme === "dark" ? "Light theme" : "Dark theme");
}

apply(stored());
document.getElementById("theme")?.addEventListener("click", () => {
  const theme = document.documentElement.dataset.theme === "light" ? "dark" : "light";
  apply(theme);
  try {
    localStorage.setItem(KEY, theme);
  } catch {
    // As above.
  }
});
