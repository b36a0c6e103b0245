// What the office does without being asked: judges a recipe while it is typed, keeps readings
// fresh, prints. Everything works without it too.

// --- a recipe while it is typed ------------------------------------------------------------------

const PAUSE_MS = 350;
const form = document.querySelector("form[data-judge]");
const figures = document.getElementById("figures");

if (form && figures) {
  let pause = 0;
  let asked = 0;
  form.addEventListener("input", () => {
    clearTimeout(pause);
    figures.setAttribute("aria-busy", "true");
    pause = setTimeout(judge, PAUSE_MS);
  });

  async function judge() {
    const mine = ++asked;
    try {
      const answer = await fetch(form.dataset.judge, {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
      });
      if (mine !== asked) return; // a newer one is on its way
      if (!answer.ok) throw new Error(String(answer.status));
      const judged = await answer.json();
      figures.innerHTML = judged.figures;
      document.getElementById("in-short").textContent = judged.short;
      if (Object.keys(judged.wrong).length === 0) document.querySelector("[data-until-right]")?.remove();
      mark(judged.wrong);
    } catch {
      // figures that no longer belong to what is typed would mislead
      figures.textContent = "The daemon does not answer; no figures.";
      document.getElementById("in-short").textContent = "no figures: the daemon does not answer";
    }
    figures.removeAttribute("aria-busy");
  }

  // What is still empty is not marked while somebody types: it stands in the list of open points.
  function mark(wrong) {
    for (const input of form.querySelectorAll(".field input, .field select, .field textarea")) {
      const words = input.value.trim() === "" && !form.elements.tried ? undefined : wrong[input.name];
      const field = input.closest(".field");
      const id = `${input.name}-error`;
      let line = document.getElementById(id);
      field.classList.toggle("wrong", Boolean(words));
      const hint = document.getElementById(`${input.name}-hint`);
      const described = [hint?.id, words && id].filter(Boolean).join(" ");
      if (described) input.setAttribute("aria-describedby", described);
      else input.removeAttribute("aria-describedby");
      if (!words) {
        line?.remove();
        input.removeAttribute("aria-invalid");
        continue;
      }
      if (!line) {
        line = document.createElement("p");
        line.className = "error";
        line.id = id;
        field.append(line);
      }
      line.textContent = words;
      input.setAttribute("aria-invalid", "true");
    }
  }
}

// --- the row that was added just now -------------------------------------------------------------

const added = document.getElementById("go-to")?.dataset.row;
if (added) {
  const row = document.getElementById(added);
  row?.scrollIntoView({ block: "center" });
  row?.querySelector("input:not([type=hidden]), select")?.focus({ preventScroll: true });
}

// --- what takes a while: said at once, and not asked twice ------------------------------------------

for (const button of document.querySelectorAll("button[data-wait]")) {
  button.form.addEventListener("submit", (event) => {
    if (event.submitter !== button) return;
    if (button.hasAttribute("aria-disabled")) {
      event.preventDefault();
      return;
    }
    button.setAttribute("aria-disabled", "true");
    const said = document.createElement("p");
    said.className = "note";
    said.setAttribute("role", "status");
    button.after(said);
    said.textContent = button.dataset.wait;
  });
}

// --- readings --------------------------------------------------------------------------------------

const REFRESH_MS = 500;
for (const place of document.querySelectorAll("[data-refresh]")) refresh(place);

async function refresh(place) {
  try {
    const answer = await fetch(place.dataset.refresh);
    if (!answer.ok) throw new Error(String(answer.status));
    const shown = await answer.text();
    // what has the focus is not taken from under it
    if (!place.contains(document.activeElement)) place.innerHTML = shown;
  } catch {
    place.textContent = "The daemon does not answer; nothing is read.";
  }
  setTimeout(() => refresh(place), REFRESH_MS);
}

// --- print ---------------------------------------------------------------------------------------

for (const button of document.querySelectorAll("[data-print]")) {
  button.addEventListener("click", () => window.print());
}
