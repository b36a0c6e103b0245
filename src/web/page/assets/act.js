// Sends what an operator does. An act names the question it answers, so an old one is refused.

const said = document.getElementById("said");
let clear = 0;

// One sentence for the eye and for screen readers, gone after a while.
export function tell(words) {
  said.textContent = words;
  clearTimeout(clear);
  clear = setTimeout(() => { said.textContent = ""; }, 8000);
}

export async function post(path, body) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: typeof body === "string" ? body : JSON.stringify(body),
  });
  const text = await answer.text();
  const value = text ? JSON.parse(text) : null;
  if (!answer.ok) throw new Error(value && value.words ? value.words : "refused");
  return value;
}

// What came of it, in words, and whether it was done.
async function told(path, body) {
  try {
    const reply = await post(path, body);
    if (reply === "already-done") return [true, "Already answered."];
    if (reply && reply.refused) return [false, `Refused: ${reply.refused.words}.`];
    return [true, "Done."];
  } catch (error) {
    return [false, error instanceof TypeError ? "Not sent: the daemon does not answer." : `Refused: ${error.message}.`];
  }
}

export async function send(act) {
  const [, words] = await told("/api/act", act);
  tell(words);
}

// --- what is typed ----------------------------------------------------------------------------

document.addEventListener("click", (event) => {
  const key = event.target instanceof Element ? event.target.closest("button[data-type]") : null;
  const field = key && key.closest("form").querySelector("input.typed");
  if (!field) return;
  if (key.dataset.type === "⌫") field.value = field.value.slice(0, -1);
  else field.value += key.dataset.type;
});

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form[data-say]");
  if (!form) return;
  event.preventDefault();
  const [done, words] = await told(form.dataset.say, Object.fromEntries(new FormData(form)));
  form.querySelector(".said-here").textContent = done ? "" : words;
  if (done) {
    form.reset();
    // out of the way until the next one
    const around = form.closest("details");
    if (around) around.open = false;
  }
  tell(words);
});

// --- pressing and holding ---------------------------------------------------------------------

const HOLD_MS = 1000;
let held = null;

function begin(button) {
  end();
  const act = button.dataset.act;
  button.setAttribute("data-holding", "");
  const timer = setTimeout(() => {
    // taken down or changed meanwhile: it was held for something else
    const same = button.isConnected && button.dataset.act === act && button.hasAttribute("data-holding");
    end();
    if (same) send(act);
  }, HOLD_MS);
  held = { button, timer };
}

function end() {
  if (!held) return;
  clearTimeout(held.timer);
  held.button.removeAttribute("data-holding");
  held.button.removeAttribute("data-pedal");
  held = null;
}

export { begin as beginHold, end as endHold };

const holdButton = (target) => target instanceof Element ? target.closest("button[data-hold]") : null;

document.addEventListener("pointerdown", (event) => {
  const button = holdButton(event.target);
  if (button && event.isPrimary && event.button === 0) begin(button);
});
for (const name of ["pointerup", "pointercancel", "blur", "contextmenu"]) {
  window.addEventListener(name, end);
}
document.addEventListener("pointermove", (event) => {
  if (!held || held.button.dataset.pedal) return;
  const box = held.button.getBoundingClientRect();
  const inside = event.clientX >= box.left && event.clientX <= box.right
    && event.clientY >= box.top && event.clientY <= box.bottom;
  if (!inside) end();
});
document.addEventListener("keydown", (event) => {
  const button = holdButton(event.target);
  if (!button || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  if (!event.repeat) begin(button);
});
document.addEventListener("keyup", (event) => {
  if (holdButton(event.target) && (event.key === "Enter" || event.key === " ")) {
    event.preventDefault();
    end();
  }
});
document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-act]") : null;
  if (!button) return;
  if (button.hasAttribute("data-hold")) {
    if (event.detail !== 0 || !held) tell("Hold it for one second.");
    return;
  }
  send(button.dataset.act);
});
