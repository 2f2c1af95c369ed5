// What was typed and is not saved yet, kept in this tab until it is: through a failed save, a reload or a closed lid.

const AGE = 12 * 60 * 60 * 1000;

function store(action) {
  try {
    return action(window.sessionStorage);
  } catch {
    return null; // a browser that forbids storage still keeps what stands in the fields
  }
}

export function keepDraft(key, version, values) {
  store((storage) => storage.setItem(key, JSON.stringify({ version, values, at: Date.now() })));
}

export function dropDraft(key) {
  store((storage) => storage.removeItem(key));
}

export function readDraft(key) {
  const text = store((storage) => storage.getItem(key));
  if (!text) return null;
  try {
    const draft = JSON.parse(text);
    return Date.now() - draft.at < AGE ? draft : null;
  } catch {
    return null;
  }
}
