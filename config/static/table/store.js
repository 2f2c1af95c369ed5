// What this device keeps: one database in the browser. A change that is called kept has been handed to the disk.

const NAME = "markbook-table";
const STORES = { days: "key", sheets: "key", entries: "key", queue: "id", settings: "key" };

function opened() {
  return new Promise((resolve, reject) => {
    const request = window.indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [name, keyPath] of Object.entries(STORES)) request.result.createObjectStore(name, { keyPath });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("another page holds an older edition open"));
  });
}

export class Store {
  constructor() {
    this.database = null;
  }

  async open() {
    this.database = await opened();
    this.database.onversionchange = () => this.database.close();
  }

  // Returns every row of the stores named, as one consistent reading.
  read(...names) {
    return new Promise((resolve, reject) => {
      const transaction = this.database.transaction(names, "readonly");
      const requests = names.map((name) => transaction.objectStore(name).getAll());
      transaction.oncomplete = () => resolve(requests.map((request) => request.result));
      transaction.onabort = () => reject(transaction.error);
    });
  }

  // rows: [[store, row or null, key of a row to take away]]. All of them are written, or none.
  write(rows) {
    if (!this.database) return Promise.reject(new Error("this browser does not let the page keep anything"));
    return new Promise((resolve, reject) => {
      const names = [...new Set(rows.map(([name]) => name))];
      const transaction = this.database.transaction(names, "readwrite", { durability: "strict" });
      transaction.oncomplete = () => resolve();
      transaction.onabort = () => reject(transaction.error || new Error("the device refused"));
      for (const [name, row, key] of rows) {
        if (row) transaction.objectStore(name).put(row);
        else transaction.objectStore(name).delete(key);
      }
      transaction.commit?.(); // now it is the browser's, also where this page is gone in the next moment
    });
  }
}
