// The page: what the daemon says, shown; what a hand does here, asked for.
// Nothing is guessed: a figure changes when the daemon says that it has changed.

import { ask, follow } from "./live.js";
import { coarse, decibels, fine, kilohertz, meter } from "./scales.js";

const $ = (id) => document.getElementById(id);
const STEPS = [1, 10, 50, 100, 500, 1000, 5000, 9000, 10000];
const KEPT = 60; // lines of what happened

const known = { vfos: {}, bands: [], sweeps: [], version: null, zone: "UTC" };
let connected = false;

// --- which VFO ----------------------------------------------------------------------------------

const chosen = () => {
  const wanted = decodeURIComponent(location.hash.slice(1));
  return wanted in known.vfos ? wanted : Object.keys(known.vfos)[0];
};
const vfo = () => known.vfos[chosen()];

function showList() {
  const names = Object.keys(known.vfos);
  const nav = $("vfos");
  nav.hidden = names.length < 2;
  if (nav.hidden) return;
  nav.replaceChildren(...names.map((name) => {
    const link = document.createElement("a");
    link.href = `#${encodeURIComponent(name)}`;
    const dial = known.vfos[name].dial;
    link.textContent = dial === null ? name : `${name}, ${kilohertz(dial)} kHz`;
    if (name === chosen()) link.setAttribute("aria-current", "page");
    return link;
  }));
}

// --- showing ------------------------------------------------------------------------------------

// Text is only written where it differs: else a screen reader would say it again and again.
function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// Times are those of the receiver's zone, wherever the page is looked at.
const clock = (seconds) => new Date(seconds * 1000).toLocaleTimeString("en-GB",
  { hour: "2-digit", minute: "2-digit", timeZone: known.zone });
const origin = (by) => (by ? by.door + (by.who ? ` (${by.who})` : "") : "");
const hertz = (value) => (value % 1000 ? `${value} Hz` : `${value / 1000} kHz`);

function showDial(state) {
  const { dial } = state;
  say($("figures"), dial === null ? "–" : kilohertz(dial));
  const spin = $("dial");
  if (dial !== null) {
    spin.setAttribute("aria-valuenow", dial / 1000);
    spin.setAttribute("aria-valuetext", `${kilohertz(dial)} kilohertz`);
    document.title = `${kilohertz(dial)} kHz · vfod`;
  }
  const place = [];
  if (state.band) place.push(state.band);
  if (state.wavelength) place.push(`${state.wavelength.toPrecision(3)} m`);
  if (state.step) place.push(`step ${hertz(state.step)}`);
  say($("place"), place.join(" · "));
  const by = origin(state.moved_by);
  say($("moved"), by ? `moved by ${by} at ${clock(state.moved_at)}` : "");
  coarse($("coarse"), dial, known.bands.find((band) => band.name === state.band));
  fine($("fine"), dial);
  const up = state.link.phase === "up";
  $("link").classList.toggle("down", !up);
  const output = state.output === false ? ", output off" : "";
  say($("link"), up ? `${state.link.model || "VFO"}, link up${output}`
    : `link down${state.link.reason ? `: ${state.link.reason}` : ""}`);
  if (state.battery_low) say($("link"), `${$("link").textContent}, battery low`);
  if (state.step && document.activeElement !== $("step")) offerSteps(state.step);
  if (document.activeElement !== $("band")) $("band").value = state.band || "";
}

// What is wrong, each with what to do; nothing is there where nothing is.
function showTroubles(place, troubles) {
  const key = troubles.join("\n");
  if ((place.dataset.key || "") === key) return;
  place.dataset.key = key;
  place.replaceChildren(...troubles.map((trouble) => {
    const line = document.createElement("p");
    line.textContent = trouble;
    return line;
  }));
}

function showSweep(state) {
  const { sweep, window: due } = state;
  const running = sweep.phase !== "idle" && sweep.name;
  let text = "no sweep";
  if (running) {
    text = `${sweep.name}: ${sweep.phase}`;
    if (sweep.channel !== null) text += ` at ${kilohertz(sweep.channel)} kHz`;
    if (state.next_channel) text += `, then ${kilohertz(state.next_channel)} kHz`;
    text += `; pass ${sweep.passes + 1}, ${sweep.in_pass} of ${sweep.channels} channels`;
    if (sweep.phase === "yielded") {
      text += `; to ${origin(sweep.yielded_to)}`
        + (sweep.until ? ` until ${clock(sweep.until)}` : " until resumed");
    }
  }
  say($("sweep-says"), text);
  $("progress").hidden = !running;
  if (running) {
    $("progress").max = sweep.channels || 1;
    $("progress").value = sweep.in_pass;
  }
  const lines = [];
  if (due.name) lines.push(`window ${due.name} until ${clock(due.closes)}`);
  if (due.next_opens) {
    const day = new Date(due.next_opens * 1000)
      .toLocaleDateString("en-GB", { weekday: "long", timeZone: known.zone });
    lines.push(`next ${due.next_name}, ${day} ${clock(due.next_opens)}`);
  }
  say($("window"), lines.join("; "));
}

function showLevel(state) {
  meter($("meter"), state.level, state.floor, state.level_unit);
  let text = "not measured";
  if (state.level !== null) {
    text = `${decibels(state.level)} ${state.level_unit}`;
    if (state.floor !== null) {
      text += `, ${decibels(state.level - state.floor)} dB above a floor of `
        + `${decibels(state.floor)} ${state.level_unit}`;
    }
  }
  say($("level-says"), text);
}

function showHeard(state) {
  const lately = [...state.heard].sort((a, b) => b.last - a.last).slice(0, 12);
  const key = JSON.stringify([lately, state.names]);
  if ($("heard").dataset.key === key) return;
  $("heard").dataset.key = key;
  $("heard").replaceChildren(...lately.map((item) => {
    const line = document.createElement("li");
    const go = document.createElement("button");
    go.textContent = `${kilohertz(item.dial)} kHz`;
    go.addEventListener("click", () => act("tune", { frequency: item.dial }));
    const rest = document.createElement("span");
    if (item.now) rest.className = "now";
    const name = state.names[item.dial];
    rest.textContent = ` ${name ? `${name}, ` : ""}${item.band || ""} `
      + `${decibels(item.level)} ${item.unit}, `
      + (item.now ? `since ${clock(item.first)}` : `${clock(item.first)} to ${clock(item.last)}`);
    line.append(go, rest);
    return line;
  }));
  if (!lately.length) {
    const none = document.createElement("li");
    none.className = "quiet";
    none.textContent = "nothing yet";
    $("heard").append(none);
  }
}

function show() {
  showList();
  const state = vfo();
  if (!state) return;
  showDial(state);
  showTroubles($("troubles"), state.troubles);
  showSweep(state);
  showLevel(state);
  showHeard(state);
}

function list(events, whole) {
  const log = $("events");
  if (whole && events.length && Number(log.dataset.last || 0) > events.at(-1).sequence) {
    log.replaceChildren(); // a new daemon counts anew
  }
  for (const event of events) {
    const line = document.createElement("li");
    const time = document.createElement("time");
    time.dateTime = new Date(event.time * 1000).toISOString();
    time.textContent = clock(event.time);
    line.append(time, (event.vfo && Object.keys(known.vfos).length > 1 ? `${event.vfo}: ` : "")
      + event.text);
    log.prepend(line);
    log.dataset.last = event.sequence;
  }
  while (log.childElementCount > KEPT) log.lastElementChild.remove();
}

// --- hands --------------------------------------------------------------------------------------

let fading = 0;
function answer(text) {
  say($("answer"), text);
  $("answer").classList.toggle("says", Boolean(text));
  clearTimeout(fading);
  fading = setTimeout(() => answer(""), 5000);
}

async function act(method, params = {}) {
  if (!connected) {
    answer("no connection to the daemon; nothing was changed");
    return null;
  }
  try {
    const result = await ask(method, { ...params, vfo: chosen() });
    answer(result.text);
    return result;
  } catch (error) {
    answer(error.message);
    return null;
  }
}

// A wheel or a key held down asks for many steps; they are asked for together.
let steps = 0;
let asking = false;
async function nudge(count) {
  steps += count;
  if (asking) return;
  asking = true;
  while (steps) {
    const now = steps;
    steps = 0;
    await act("nudge", { steps: now });
  }
  asking = false;
}

function offerSteps(current) {
  const all = [...new Set([...STEPS, current])].sort((a, b) => a - b);
  if ($("step").dataset.all !== String(all)) {
    $("step").dataset.all = String(all);
    $("step").replaceChildren(...all.map((value) => new Option(hertz(value), value)));
  }
  $("step").value = current;
}

function typed(text) {
  const found = /^\s*([\d\s.,_]+?)\s*(hz|k|khz|m|mhz)?\s*$/i.exec(text);
  if (!found) return null;
  const value = Number(found[1].replace(/[\s_]/g, "").replace(",", "."));
  const unit = { h: 1, k: 1e3, m: 1e6 }[(found[2] || "k")[0].toLowerCase()];
  return Number.isFinite(value) ? Math.round(value * unit) : null;
}

function wire() {
  $("tune").addEventListener("submit", async (event) => {
    event.preventDefault();
    const frequency = typed($("frequency").value);
    if (frequency === null) {
      answer("write a frequency in kilohertz, like 9420, or with its unit, like 9.42 MHz");
    } else if (await act("tune", { frequency })) {
      $("frequency").value = "";
    }
  });
  for (const button of document.querySelectorAll("[data-steps]")) {
    button.addEventListener("click", () => nudge(Number(button.dataset.steps)));
  }
  for (const button of document.querySelectorAll("[data-band]")) {
    button.addEventListener("click", () => act("band", { band: button.dataset.band }));
  }
  for (const button of document.querySelectorAll("[data-ask]")) {
    const { ask: method, seconds } = button.dataset;
    button.addEventListener("click", () => act(method, seconds ? { seconds: Number(seconds) } : {}));
  }
  $("step").addEventListener("change", () => act("step", { step: Number($("step").value) }));
  $("band").addEventListener("change", () => {
    if ($("band").value) act("band", { band: $("band").value });
  });
  $("start").addEventListener("submit", (event) => {
    event.preventDefault();
    act("sweep-start", { sweep: $("sweeps").value });
  });
  $("note").addEventListener("submit", async (event) => {
    event.preventDefault();
    const note = { text: $("text").value };
    if ($("sinpo").value) note.sinpo = $("sinpo").value;
    if ($("who").value) note.heard = $("who").value;
    if (await act("note", note)) event.target.reset();
  });
  const keys = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 };
  $("dial").addEventListener("keydown", (event) => {
    if (!(event.key in keys)) return;
    event.preventDefault();
    nudge(keys[event.key]);
  });
  $("dial").addEventListener("wheel", (event) => {
    event.preventDefault();
    if (event.deltaY) nudge(event.deltaY < 0 ? 1 : -1);
  }, { passive: false });
  window.addEventListener("hashchange", () => { offerSweeps(); show(); });
  const theme = $("theme");
  theme.value = localStorage.getItem("theme") || "auto";
  const light = () => {
    if (theme.value === "auto") delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = theme.value;
    localStorage.setItem("theme", theme.value);
  };
  theme.addEventListener("change", light);
  light();
}

function offerSweeps() {
  const here = known.sweeps.filter((sweep) => sweep.vfo === chosen());
  $("sweeps").replaceChildren(...here.map((sweep) => new Option(sweep.name, sweep.name)));
  $("start").hidden = !here.length;
}

async function learn() {
  try {
    known.bands = (await ask("bands")).bands;
    known.sweeps = (await ask("sweeps")).sweeps;
  } catch {
    return; // the stream will be there again, and with it the next try
  }
  $("band").replaceChildren(new Option("–", ""),
    ...known.bands.map((band) => new Option(band.name, band.name)));
  offerSweeps();
  show();
}

// The night grows slowly; it is asked for once a minute, while somebody looks.
async function drawNight() {
  const name = chosen();
  if (document.hidden || !connected || !name) return;
  try {
    const answer = await fetch(`/tonight/${encodeURIComponent(name)}`);
    if (!answer.ok || name !== chosen()) return;
    const picture = await answer.text();
    if (picture) $("tonight").innerHTML = picture; // made and escaped by the daemon's own report
    else $("tonight").innerHTML = '<p class="quiet">nothing measured yet</p>';
  } catch {
    // said elsewhere: the connection is lost
  }
}

wire();
setInterval(drawNight, 60000);
document.addEventListener("visibilitychange", drawNight);
window.addEventListener("hashchange", drawNight);
window.addEventListener("resize", show);
follow((said) => {
  if (said.whole) known.vfos = {};
  known.zone = said.zone;
  showTroubles($("daemon-troubles"), said.troubles);
  Object.assign(known.vfos, said.vfos);
  if (said.whole && known.version !== `${said.version} ${said.started}`) {
    known.version = `${said.version} ${said.started}`;
    learn();
  }
  list(said.events, said.whole);
  show();
  if (said.whole) drawNight();
}, (up) => {
  connected = up;
  document.body.classList.toggle("stale", !up);
  say($("connection"), up ? "live" : "no connection to the daemon; trying again");
});
