// This device's microphone: pieces of a tenth of a second, from start to pause, and the word that it is gone.

const WANTED_HZ = 16000;

/** Told by `on`: piece(Int16Array, peak) for each piece, gone() when the device ends. */
export class Microphone {
  constructor(worklet, on) {
    this.worklet = worklet;
    this.on = on;
  }

  get rate() {
    return this.context.sampleRate;
  }

  get name() {
    return this.stream.getAudioTracks()[0].label || "microphone";
  }

  /** Whether the device is open. */
  get open() {
    return Boolean(this.stream?.active);
  }

  /** Opens the device, which gives nothing yet. Throws what the browser says, as when nobody allows it. */
  async prepare() {
    await this.close();
    // As it is: what browsers do to speech for telephones takes words away, and the server levels its own copy.
    const audio = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    this.stream = await navigator.mediaDevices.getUserMedia({ audio });
    let source;
    try {
      this.context = new AudioContext({ sampleRate: WANTED_HZ });
      source = this.context.createMediaStreamSource(this.stream);
    } catch {
      // Some browsers do not change the rate of a microphone.
      this.context?.close();
      this.context = new AudioContext();
      source = this.context.createMediaStreamSource(this.stream);
    }
    await this.context.audioWorklet.addModule(this.worklet);
    this.node = new AudioWorkletNode(this.context, "pieces", {
      numberOfOutputs: 1,
      processorOptions: { size: Math.round(this.context.sampleRate / 10) },
    });
    this.node.port.onmessage = ({ data }) => {
      if (data.rest) this.rested?.();
      else this.on.piece(data.buffer, data.peak);
    };
    this.source = source;
    for (const track of this.stream.getTracks()) track.addEventListener("ended", () => this.on.gone());
  }

  /** Listens. */
  async start() {
    this.source.connect(this.node);
    // It gives silence; but what leads nowhere is not run by Chromium.
    this.node.connect(this.context.destination);
    await this.context.resume();
  }

  /** Hears no more; all that was heard was given when this is done. */
  async pause() {
    if (!this.node || this.context.state !== "running") return;
    const given = new Promise((resolve) => (this.rested = resolve));
    this.node.port.postMessage("rest");
    await Promise.race([given, new Promise((resolve) => setTimeout(resolve, 2000))]);
    await this.context.suspend();
  }

  async close() {
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    await this.context?.close();
    this.stream = this.context = this.node = undefined;
  }
}
