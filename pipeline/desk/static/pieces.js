// A piece of sound as it travels (pipeline/desk/rooms/pieces.py has the same): 20 bytes of head, then samples, little-endian.

const HEAD = 20;
const TABLE = Uint32Array.from({ length: 256 }, (_, at) => {
  let value = at;
  for (let bit = 0; bit < 8; bit++) value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  return value;
});

function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = TABLE[(crc ^ byte) & 255] ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

/** The bytes of a piece: `buffer` of 16-bit samples, so many before it in the stream, milliseconds not recorded before it. */
export function writePiece(buffer, first, lostMs) {
  const data = new Uint8Array(HEAD + buffer.byteLength);
  const view = new DataView(data.buffer);
  data.set([82, 83, 80, 49]);
  view.setBigUint64(8, BigInt(first), true);
  view.setUint32(16, Math.min(lostMs, 0xffffffff), true);
  data.set(new Uint8Array(buffer), HEAD);
  seal(data);
  return data.buffer;
}

/** The same piece under another number. */
export function renumbered(piece, first) {
  const data = new Uint8Array(piece.slice());
  new DataView(data.buffer).setBigUint64(8, BigInt(first), true);
  seal(data);
  return data.buffer;
}

function seal(data) {
  new DataView(data.buffer).setUint32(4, crc32(data.subarray(8)), true);
}

/** The samples of a piece. */
export const samplesOf = (data) => data.slice(HEAD);
