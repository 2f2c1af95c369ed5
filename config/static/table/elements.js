// Making elements without a line of HTML in a string: text stays text.

export function el(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null || value === false) continue;
    if (name === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
    else if (name === "data") Object.assign(made.dataset, value);
    else if (name in made && typeof value !== "object" && !name.startsWith("aria")) made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
  return made;
}

export const button = (words, act, properties = {}) => el("button", { type: "button", on: { click: act }, ...properties }, words);

export const counted = (number, one, many) => `${number} ${number === 1 ? one : many}`;
