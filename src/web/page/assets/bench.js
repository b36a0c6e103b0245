// The bench, live: one stream, one picture. A screen that hears no beat says so and shows no number.

import { morph } from "./morph.js";
import { send, tell } from "./act.js";
import * as sound from "./sound.js";
import * as screen from "./screen.js";
import * as pedal from "./pedal.js";

const bench = document.getElementById("bench");
const lost = document.getElementById("lost");
// A beat comes every 500 ms; three lost ones, seen within a fifth of a second, stay below 2 s.
const SILENT_MS = 1500;
const LOOK_MS = 200;
const AGAIN_MS = 1000;

let stream = null;
let heard = performance.now();
let version = null;
let isLost = false;
let again = 0;

function connect() {
  clearTimeout(again);
  if (stream) stream.close();
  stream = new EventSource("/live");
  stream.addEventListener("hello", (event) => {
    const hello = JSON.parse(event.data);
    if (version && version !== hello.version) location.reload();
    version = hello.version;
    sound.listen(hello.screen);
    alive();
  });
  stream.addEventListener("beat", alive);
  stream.addEventListener("picture", (event) => {
    alive();
    picture(event.data);
  });
  stream.addEventListener("cue", (event) => {
    alive();
    cue(JSON.parse(event.data));
  });
  stream.onerror = () => {
    stream.close();
    lose();
    retry();
  };
}

// A stream that was refused does not come back by itself; and this screen may have to pair anew.
function retry() {
  clearTimeout(again);
  again = setTimeout(async () => {
    try {
      const answer = await fetch("/api/view", { cache: "no-store" });
      if (answer.status === 401) location.reload();
      else connect();
    } catch {
      retry();
    }
  }, AGAIN_MS);
}

function picture(markup) {
  const wanted = document.createElement("div");
  wanted.id = "bench";
  const parsed = new DOMParser().parseFromString(markup, "text/html");
  wanted.append(...parsed.body.childNodes);
  morph(bench, wanted);
  const prompts = [...bench.querySelectorAll("[data-prompt]")];
  pedal.seen(prompts.map((each) => each.dataset.prompt));
  sound.pour(bench);
}

function alive() {
  heard = performance.now();
  if (!isLost) return;
  isLost = false;
  document.body.removeAttribute("data-lost");
  lost.hidden = true;
  lost.textContent = "";
  sound.found();
}

function lose() {
  if (isLost) return;
  isLost = true;
  document.body.setAttribute("data-lost", "");
  for (const number of bench.querySelectorAll("[data-live]")) number.textContent = "—";
  for (const drawn of bench.querySelectorAll(".dip .pointer, .dip .level, .trace .line, .trace .end")) {
    drawn.remove();
  }
  for (const button of bench.querySelectorAll("button")) button.remove();
  lost.textContent =
    "The daemon does not answer: nothing is watched. Stop pouring. Look at the scale and the pot yourself.";
  lost.hidden = false;
  sound.lost(lost.textContent);
}

function cue({ cue, spoken }) {
  if (cue === "emergency") screen.openCard();
  sound.cue(cue, spoken);
}

setInterval(() => {
  if (performance.now() - heard > SILENT_MS) {
    lose();
    if (stream && stream.readyState === EventSource.CLOSED) retry();
  }
}, LOOK_MS);

screen.begin({ onSplash: () => send('"emergency"') });
pedal.begin({ bench, tell });
sound.begin();
connect();
