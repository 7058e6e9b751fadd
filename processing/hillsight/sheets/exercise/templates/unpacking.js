// The answer, out of what nobody reads at a glance: see packing.py for how it was put up.
const unpacked = async (letters) => {
  const bytes = Uint8Array.from(atob(letters.trim()), (letter) => letter.charCodeAt(0));
  let state = new DataView(bytes.buffer).getUint32(0);
  const content = bytes.subarray(4);
  for (let i = 0; i < content.length; i += 1) {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    content[i] ^= state >>> 24;
  }
  const stream = new Blob([content]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return JSON.parse(await new Response(stream).text());
};

