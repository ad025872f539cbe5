// What surrounds the page: the headset's button, the screen that must not go dark, the browser's voice.

/** A second of silence as a sound file, long enough to be looped: browsers hand a headset's button to pages that play something. */
function silence() {
  const rate = 8000;
  const samples = rate * 10;
  const view = new DataView(new ArrayBuffer(44 + samples));
  const word = (at, text) => [...text].forEach((sign, by) => view.setUint8(at + by, sign.charCodeAt(0)));
  word(0, "RIFF");
  view.setUint32(4, 36 + samples, true);
  word(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, rate, true);
  view.setUint16(32, 1, true);
  view.setUint16(34, 8, true);
  word(36, "data");
  view.setUint32(40, samples, true);
  new Uint8Array(view.buffer, 44).fill(128);
  return URL.createObjectURL(new Blob([view], { type: "audio/wav" }));
}

export const headset = {
  /** Calls `go` when the headset's button is pressed (W3C Media Session). */
  tell(go) {
    if (!navigator.mediaSession) return;
    for (const action of ["play", "pause", "stop", "togglemicrophone"]) {
      try {
        navigator.mediaSession.setActionHandler(action, () => go());
      } catch {
        // A browser that does not know one of them knows the others.
      }
    }
  },

  /** Takes the button, after the first press of a key or finger on the page. */
  begin() {
    if (!navigator.mediaSession || this.audio) return;
    this.audio = new Audio(silence());
    this.audio.loop = true;
    navigator.mediaSession.metadata = new MediaMetadata({ title: document.title });
    this.audio.play().catch(() => {
      // Without it the headset's button does nothing; all other controls work.
    });
  },

  is(on) {
    if (!navigator.mediaSession) return;
    navigator.mediaSession.playbackState = on ? "playing" : "paused";
    navigator.mediaSession.setMicrophoneActive?.(on);
  },
};

let lamp;
let wanted = false;

/** Keeps the screen lit while it listens, where the browser can. */
export async function keepAwake(on) {
  wanted = on;
  if (!on) {
    await lamp?.release();
    lamp = undefined;
  } else if (!lamp || lamp.released) {
    lamp = await navigator.wakeLock?.request("screen").catch(() => undefined);
  }
}

document.addEventListener("visibilitychange", () => wanted && document.visibilityState === "visible" && keepAwake(true));

/** Says something with the browser's own voice. */
export function speak(text) {
  if (!window.speechSynthesis) return;
  speechSynthesis.cancel();
  speechSynthesis.speak(Object.assign(new SpeechSynthesisUtterance(text), { lang: document.documentElement.lang }));
}
