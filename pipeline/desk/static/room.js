// The exam room. One control, by hand, foot or headset, lets the microphone listen or rest; what it hears goes into the outbox and
// from there over the wire, and what the server understands comes back and is shown.

import { Refusal, ask, say } from "./net.js";
import { Microphone } from "./microphone.js";
import { Outbox } from "./outbox.js";
import { samplesOf, writePiece } from "./pieces.js";
import { show, showLevel } from "./show.js";
import { headset, keepAwake, speak } from "./surroundings.js";
import { Wire } from "./wire.js";

const room = document.getElementById("room");
const { visit } = room.dataset;
const part = (id) => document.getElementById(id);
const address = `/room/${visit}`;
const begun = Date.now();
// So long a page waits for its turn before it takes another tab for the one that records.
const LOADED_MS = 3000;
const state = { mine: "ready", busy: false, news: {}, line: "away", faults: new Map() };

let outbox;
let wire;
let stream;

const microphone = new Microphone(room.dataset.worklet, {
  piece: (buffer, peak) => {
    const samples = buffer.byteLength / 2;
    // What comes right after a pause says how long nothing was recorded.
    const lost = stream.next && !state.flows ? Math.max(1, Date.now() - stream.at) : 0;
    state.flows = true;
    if (state.mine === "on") showLevel(peak);
    outbox.add(stream, writePiece(buffer, stream.next, lost), samples).then(() => wire.wake());
  },
  gone: async () => {
    fault("microphone", say("room.microphone_gone"));
    await microphone.close();
    rest();
  },
});

// --- what is wrong, told one under the other -----------------------------------------------------------------------

function fault(name, message) {
  if (state.faults.get(name) === message) return;
  if (message) state.faults.set(name, message);
  else state.faults.delete(name);
  const lines = [...state.faults.values()].map((text) => {
    const line = document.createElement("p");
    line.textContent = text;
    return line;
  });
  part("faults").replaceChildren(...lines);
}

// --- the one control -----------------------------------------------------------------------------------------------

const LABELS = { ready: "room.start", on: "room.pause", paused: "room.resume", ending: "room.ending", elsewhere: "room.elsewhere", over: "room.over" };

function paint() {
  const server = Boolean(state.news.room?.server_microphone);
  const over = state.news.room && state.news.room.state !== "open";
  const shown = state.mine === "over" ? "over" : over ? "ending" : server ? "on" : state.mine;
  room.dataset.state = shown;
  part("go").disabled = ["ending", "elsewhere", "over"].includes(shown) || state.busy;
  const goes = shown === "ready" && state.news.length_s > 0;
  part("go_label").textContent = say(goes ? "room.resume" : LABELS[shown]);
  part("doing").textContent = say(server && !over ? "room.doing_server" : "room.doing_" + shown);
  part("end").disabled = ["elsewhere", "over"].includes(shown) || (shown === "ending" && !state.news.room?.trouble);
  part("server").checked = server;
  part("server").disabled = Boolean(over) || state.mine === "on";
  headset.is(shown === "on");
  const waits = outbox ? outbox.waitingS : 0;
  const kept = waits >= 1 && state.line === "away";
  part("line").hidden = shown === "over";
  part("line").dataset.is = state.line;
  part("line_text").textContent = kept ? say("room.line_kept", { n: Math.round(waits) }) : say("room.line_" + (waits > 3 ? "behind" : state.line));
}

async function go() {
  if (part("go").disabled || part("missing_ask").open) return;
  if (state.news.room?.server_microphone) return serverMicrophone(false);
  state.busy = true;
  paint();
  try {
    if (state.mine === "on") await rest();
    else await listen();
  } catch (error) {
    fault("microphone", say("room.no_microphone", { why: error.message }));
    state.mine = state.mine === "on" ? "paused" : state.mine;
  }
  state.busy = false;
  paint();
}

async function listen() {
  if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode) throw new Error(say("room.insecure"));
  if (!microphone.open) {
    await microphone.prepare();
    stream = outbox.stream(microphone.rate, microphone.name.slice(0, 200));
  }
  state.flows = false;
  wire.record(stream);
  await microphone.start();
  state.mine = "on";
  fault("microphone", "");
  headset.begin();
  keepAwake(true);
}

async function rest() {
  await microphone.pause().catch(() => {});
  wire.record(null);
  if (state.mine === "on") state.mine = "paused";
  showLevel(0);
  keepAwake(false);
  paint();
  remind();
}

function remind() {
  const missing = state.news.record?.missing ?? [];
  if (part("aloud").checked && missing.length) speak(say("room.aloud", { what: missing.join(", ") }));
}

// --- the end -------------------------------------------------------------------------------------------------------

async function askEnd() {
  if (state.mine === "on") await rest();
  const missing = state.news.record?.missing ?? [];
  if (!missing.length || state.news.room?.state === "ending") return end();
  part("missing_list").replaceChildren(...missing.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  part("missing_ask").showModal();
  if (state.mine !== "paused") remind();
}

/** Ends when all sound is with the server; until then it waits, and says so. */
async function end() {
  part("missing_ask").close();
  state.mine = "ending";
  paint();
  await microphone.close();
  await new Promise((resolve) => {
    state.sent = resolve;
    sent();
  });
  try {
    await ask(`${address}/end`, { method: "POST" }, () => fault("end", say("room.end_waits")));
    fault("end", "");
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    fault("end", error.message);
    state.mine = "paused";
    paint();
  }
}

function sent() {
  paint();
  if (!outbox.waiting && state.sent) state.sent();
}

async function serverMicrophone(on) {
  try {
    await ask(`${address}/microphone?on=${on}`, { method: "POST" });
    fault("server", "");
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    fault("server", error.message);
  }
  paint();
}

// --- what the server tells -----------------------------------------------------------------------------------------

function news(parts) {
  Object.assign(state.news, parts);
  show(parts);
  const { room: about } = state.news;
  if (parts.room) fault("room", about.trouble ? say("room.trouble", { why: about.trouble }) : "");
  if (about?.state === "ended") over(about.record);
  paint();
}

/** The draft is kept: to its review, unless sound came too late for it. */
async function over(record) {
  if (state.mine === "on") await rest();
  if (!state.loaded && Date.now() - begun < LOADED_MS) {
    setTimeout(() => news({}), 200);
    return;
  }
  wire.close();
  if (!outbox.waiting) {
    leaving = true;
    location.assign(`/records/${record}`);
    return;
  }
  state.mine = "over";
  paint();
  fault("late", say("room.late", { n: Math.max(1, Math.round(outbox.waitingS)) }));
  part("late").hidden = false;
  part("to_record").href = `/records/${record}`;
}

function refused(status, why) {
  if (status === 401) {
    fault("refused", say("room.sign_in"));
    part("sign_in").hidden = false;
  } else if (status !== 409) fault("refused", why || say("error.http_400"));
}

part("save").addEventListener("click", async () => {
  const pieces = await outbox.everything();
  const rate = [...outbox.streams.values()].pop().rate;
  const body = new Blob(pieces.map(({ data }) => samplesOf(data)));
  const head = new DataView(new ArrayBuffer(44));
  const word = (at, text) => [...text].forEach((sign, by) => head.setUint8(at + by, sign.charCodeAt(0)));
  word(0, "RIFF");
  head.setUint32(4, 36 + body.size, true);
  word(8, "WAVEfmt ");
  head.setUint32(16, 16, true);
  head.setUint16(20, 1, true);
  head.setUint16(22, 1, true);
  head.setUint32(24, rate, true);
  head.setUint32(28, rate * 2, true);
  head.setUint16(32, 2, true);
  head.setUint16(34, 16, true);
  word(36, "data");
  head.setUint32(40, body.size, true);
  const link = Object.assign(document.createElement("a"), { download: "late.wav" });
  link.href = URL.createObjectURL(new Blob([head, body], { type: "audio/wav" }));
  link.click();
  part("drop").hidden = false;
});
part("drop").addEventListener("click", async () => {
  await outbox.clear();
  news({});
});

// --- hand, foot, headset -------------------------------------------------------------------------------------------

const NOT_A_FOOT = new Set([
  "Tab", "Escape", "Shift", "Control", "Alt", "AltGraph", "Meta", "CapsLock", "NumLock", "ScrollLock", "ArrowUp", "ArrowDown",
  "MediaPlayPause", "MediaPlay", "MediaPause", "MediaStop", "AudioVolumeUp", "AudioVolumeDown", "AudioVolumeMute", "Unidentified",
]);

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  if (!part("foot").checked || part("missing_ask").open || NOT_A_FOOT.has(event.key)) return;
  const control = event.target.closest("input, select, textarea, a, summary, button");
  // A control that has the focus keeps the keys that work it.
  if (control && ["Enter", " "].includes(event.key)) return;
  event.preventDefault();
  go();
});

for (const id of ["foot", "aloud"]) {
  const kept = localStorage.getItem(`room_${id}`);
  if (kept) part(id).checked = kept === "on";
  part(id).addEventListener("change", () => localStorage.setItem(`room_${id}`, part(id).checked ? "on" : "off"));
}

part("go").addEventListener("click", go);
part("end").addEventListener("click", askEnd);
part("end_now").addEventListener("click", end);
part("back").addEventListener("click", () => part("missing_ask").close());
part("server").addEventListener("change", (event) => serverMicrophone(event.target.checked));
headset.tell(go);

let leaving = false;
addEventListener("beforeunload", (event) => {
  if (state.mine === "on" && !leaving) event.preventDefault();
});

// --- the beginning: one page of this browser records a visit -------------------------------------------------------

outbox = await Outbox.open(visit, { full: () => fault("full", say("room.full")) });
wire = new Wire(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${address}/sound`, outbox, {
  news,
  refused,
  sent,
  state: (line) => {
    state.line = line;
    if (line === "on") {
      fault("refused", "");
      part("sign_in").hidden = true;
    }
    paint();
  },
});
setInterval(paint, 1000);
state.mine = "elsewhere";
paint();
navigator.storage?.persist?.();
const mine = async () => {
  await outbox.load();
  state.loaded = true;
  state.mine = "ready";
  wire.wake();
  paint();
  return new Promise(() => {});
};
if (navigator.locks) navigator.locks.request(`rostral-room-${visit}`, mine);
else mine();
