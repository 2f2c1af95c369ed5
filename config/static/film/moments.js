// A moment of a recording: whole milliseconds from its beginning, written as people read a clock.

export const LONGEST = 24 * 60 * 60 * 1000;
const WRITTEN = /^(?:(\d{1,2}):)?(\d{1,3}):([0-5]?\d)(?:[.,](\d{1,3}))?$/;

export function momentText(milliseconds) {
  if (milliseconds === null || milliseconds === undefined) return "";
  const tenths = Math.floor((milliseconds % 1000) / 100);
  const seconds = Math.floor(milliseconds / 1000);
  const [hours, minutes, rest] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  const two = (number) => String(number).padStart(2, "0");
  const whole = hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  return tenths ? `${whole}.${tenths}` : whole;
}

// Returns null for nothing written, undefined for what is no moment.
export function readMoment(text) {
  const written = text.trim();
  if (!written) return null;
  const found = WRITTEN.exec(written);
  if (!found) return undefined;
  const [, hours = "0", minutes, seconds, rest = ""] = found;
  if (found[1] && Number(minutes) > 59) return undefined;
  const moment = ((Number(hours) * 60 + Number(minutes)) * 60 + Number(seconds)) * 1000 + Number(rest.padEnd(3, "0"));
  return moment <= LONGEST ? moment : undefined;
}
