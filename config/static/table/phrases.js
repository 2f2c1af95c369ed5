// A judge's own short phrases, from the server's list and from what was written on this device since.

const BETWEEN = /[,.;\n]+/;

export function phrasesIn(remark) {
  return remark.split(BETWEEN).map((part) => part.trim()).filter((phrase) => phrase.length >= 3 && phrase.length <= 60);
}

export class Phrases {
  // known: [[phrase, times, {family: times}]] as the server learnt them.
  constructor(known) {
    this.rows = new Map();
    for (const [phrase, times, families] of known) this.rows.set(phrase.toLowerCase(), { phrase, times, families: { ...families } });
  }

  learn(remark, family) {
    for (const phrase of phrasesIn(remark)) {
      const key = phrase.toLowerCase();
      const row = this.rows.get(key) || { phrase, times: 0, families: {} };
      row.times += 1;
      row.families[family] = (row.families[family] || 0) + 1;
      this.rows.set(key, row);
    }
  }

  // What may be meant by the words after the last comma; before the first letter, what is said of this family most.
  suggest(text, family, most = 6) {
    const parts = text.split(BETWEEN).map((part) => part.trim().toLowerCase());
    const typed = parts.pop();
    const fits = (key) => !typed || key.startsWith(typed) || key.includes(` ${typed}`);
    const rank = (row) => (row.families[family] || 0) * 1000 + row.times;
    return [...this.rows]
      .filter(([key]) => key !== typed && !parts.includes(key) && fits(key))
      .sort((a, b) => Number(b[0].startsWith(typed)) - Number(a[0].startsWith(typed)) || rank(b[1]) - rank(a[1]) || (a[0] < b[0] ? -1 : 1))
      .slice(0, most)
      .map(([, row]) => row.phrase);
  }
}

// Puts a phrase in the place of the words after the last comma.
export function withPhrase(text, phrase) {
  const kept = text.slice(0, text.length - text.split(BETWEEN).pop().length);
  const gap = kept && !kept.endsWith("\n") ? " " : "";
  return `${kept}${gap}${phrase}`;
}
