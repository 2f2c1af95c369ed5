// Reading a text file that somebody chose: what it says, or a sentence about why it cannot be read.

const SIZES = 4; // bytes that a character may take

export async function readTextFile(file, longest) {
  if (file.size > longest * SIZES) return { fault: `${file.name} is too large for what was said over one ride: at most ${longest} characters are read. Choose another file.` };
  const bytes = new Uint8Array(await file.arrayBuffer());
  const wide = (bytes[0] === 0xff && bytes[1] === 0xfe && "utf-16le") || (bytes[0] === 0xfe && bytes[1] === 0xff && "utf-16be");
  let text;
  try {
    text = new TextDecoder(wide || "utf-8", { fatal: true }).decode(bytes);
  } catch {
    return { fault: `${file.name} is not UTF-8 text. Save it as UTF-8, or paste its text below.` };
  }
  if (text.length > longest) return { fault: `${file.name} has ${text.length} characters; at most ${longest} are read. Give the part about this ride.` };
  return text.trim() ? { text: text.replace(/\r\n?/g, "\n") } : { fault: `${file.name} is empty. Choose the file that your dictation wrote.` };
}
