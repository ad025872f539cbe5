// Saying a fact again: a few seconds of sound go to the desk, and what it understands fills the form. Nothing is kept until the
// form is.

import { Refusal, ask, say } from "./net.js";

const LONGEST_MS = 20000;

/** Makes the form's button for it work, where the browser gives a microphone. */
export function listenOnce(form) {
  const button = form.querySelector(".speak");
  if (!button || !navigator.mediaDevices?.getUserMedia || !window.MediaRecorder) return;
  button.hidden = false;
  let recorder;
  button.addEventListener("click", async () => {
    if (recorder?.state === "recording") return recorder.stop();
    const fault = form.querySelector(".told");
    fault.hidden = true;
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ audio: true });
      recorder = new MediaRecorder(stream);
      const pieces = [];
      recorder.ondataavailable = (event) => pieces.push(event.data);
      recorder.onstop = async () => {
        for (const track of stream.getTracks()) track.stop();
        button.textContent = say("edit.speak");
        button.disabled = true;
        try {
          const body = new Blob(pieces, { type: recorder.mimeType });
          const address = `/records/${document.getElementById("board").dataset.record}/again?kind=${form.dataset.kind}`;
          fill(form, await ask(address, { method: "POST", body, headers: { "Content-Type": "application/octet-stream" } }));
        } catch (error) {
          if (!(error instanceof Refusal)) throw error;
          fault.textContent = error.message;
          fault.hidden = false;
        } finally {
          button.disabled = false;
        }
      };
      recorder.start();
      button.textContent = say("edit.speak_stop");
      setTimeout(() => recorder.state === "recording" && recorder.stop(), LONGEST_MS);
    } catch (error) {
      fault.textContent = say("edit.no_microphone", { why: error.message });
      fault.hidden = false;
    }
  });
}

function fill(form, { fields, shown, heard }) {
  for (const [name, value] of Object.entries(fields)) {
    const field = form.elements.namedItem(name);
    if (field instanceof RadioNodeList) field.value = value;
    else if (field) field.value = value;
  }
  for (const field of form.querySelectorAll(".pick")) {
    const name = field.querySelector("input[type=hidden]").name;
    // As if it was picked: the field must not take the words for one's own when it is left.
    if (name in shown) {
      field.querySelector("[role=combobox]").value = shown[name];
      field.dispatchEvent(new Event("filled"));
    }
  }
  const fault = form.querySelector(".told");
  fault.className = "told doubt";
  fault.textContent = say("edit.heard", { words: heard });
  fault.hidden = false;
}
