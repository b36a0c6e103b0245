// Light, dark, or as the system has it: a choice of this screen alone.
const chosen = localStorage.getItem("theme");
if (chosen === "light" || chosen === "dark") {
  document.documentElement.dataset.theme = chosen;
}
