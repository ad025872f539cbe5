// In the browser's sound thread: what the microphone gives, mixed to one channel, as 16-bit samples in pieces of one size.

class Pieces extends AudioWorkletProcessor {
  constructor({ processorOptions }) {
    super();
    this.size = processorOptions.size;
    this.begin();
    this.port.onmessage = () => {
      // A pause: the rest of what was heard goes out, however short.
      this.hand();
      this.port.postMessage({ rest: true });
    };
  }

  begin() {
    this.samples = new Int16Array(this.size);
    this.filled = 0;
    this.peak = 0;
  }

  hand() {
    if (!this.filled) return;
    const { buffer } = this.samples.slice(0, this.filled);
    this.port.postMessage({ buffer, peak: this.peak }, [buffer]);
    this.begin();
  }

  process([channels]) {
    const count = channels.length;
    for (let at = 0; count && at < channels[0].length; at++) {
      let sum = 0;
      for (const channel of channels) sum += channel[at];
      const value = sum / count;
      this.peak = Math.max(this.peak, Math.abs(value));
      this.samples[this.filled++] = Math.max(-32768, Math.min(32767, Math.round(value * 32768)));
      if (this.filled === this.size) this.hand();
    }
    return true;
  }
}

registerProcessor("pieces", Pieces);
