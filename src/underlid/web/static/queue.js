// Entries wait on this device until the bin's computer has stored them; sending one twice is harmless.
"use strict";

(() => {
  const EVERY = 30_000, LONGEST = 300_000;
  const changed = [], answered = [];
  let items = [], sending = null, anew = false, current = null, failures = 0, timer = null, trouble = "", memory = null;

  const token = () => document.querySelector('meta[name="csrf"]');

  function uuid() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16)); // plain http on a home network has no randomUUID
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  // --- what is kept on the device ---

  const opened = new Promise((resolve) => {
    let ask;
    try {
      ask = indexedDB.open("underlid", 1);
    } catch {
      return resolve(null);
    }
    ask.onupgradeneeded = () => ask.result.createObjectStore("sent", { keyPath: "seq", autoIncrement: true });
    ask.onsuccess = () => resolve(ask.result);
    ask.onerror = () => resolve(null);
  }).then((db) => {
    if (!db) memory = new Map(); // a browser that keeps nothing: only as long as the page is open
    return db;
  });

  async function kept(mode, work) {
    const db = await opened;
    return new Promise((resolve, reject) => {
      // "strict": on the disk when it is done, so that an empty battery loses nothing.
      const change = db.transaction("sent", mode, mode === "readwrite" ? { durability: "strict" } : undefined);
      const asked = work(change.objectStore("sent"));
      change.oncomplete = () => resolve(asked.result);
      change.onerror = change.onabort = () => reject(change.error);
    });
  }

  async function all() {
    await opened;
    return memory ? [...memory.values()] : kept("readonly", (store) => store.getAll());
  }

  async function put(item) {
    await opened;
    if (memory) {
      item.seq ??= Date.now() + memory.size;
      memory.set(item.seq, item);
      return item.seq;
    }
    return kept("readwrite", (store) => store.put(item));
  }

  async function drop(seq) {
    await opened;
    return memory ? memory.delete(seq) : kept("readwrite", (store) => store.delete(seq));
  }

  // --- sending ---

  function bodyOf(item) {
    if (!Object.values(item.body).some((value) => value instanceof Blob)) {
      return { type: { "Content-Type": "application/json" }, data: JSON.stringify(item.body) };
    }
    const form = new FormData();
    for (const [name, value] of Object.entries(item.body)) form.append(name, value);
    return { type: {}, data: form };
  }

  async function send(item) {
    const { type, data } = bodyOf(item);
    const headers = { ...type, "X-CSRF-Token": token()?.content ?? "", Accept: "application/json" };
    const response = await fetch(item.path, { method: "POST", headers, body: data, credentials: "same-origin" });
    return { status: response.status, answer: await response.json().catch(() => ({})) };
  }

  async function newToken() {
    const response = await fetch("/new", { credentials: "same-origin", cache: "no-store" });
    const found = new DOMParser().parseFromString(await response.text(), "text/html");
    const fresh = found.querySelector('meta[name="csrf"]')?.content;
    if (!response.ok || !fresh || fresh === token()?.content) return false;
    token().content = fresh;
    return true;
  }

  async function settle(item) {
    let { status, answer } = await send(item);
    if (status === 403 && (await newToken())) ({ status, answer } = await send(item)); // a page from the cache is older
    const done = (status >= 200 && status < 300) || (status === 409 && answer.duplicate === true);
    const gone = status === 404 && item.body.of; // taken back before it was ever stored
    if (done || gone) {
      await drop(item.seq);
    } else if (status >= 400 && status < 500 && ![401, 403, 408, 425, 429].includes(status)) {
      await put({ ...item, state: "mend", error: answer.error || `The bin's computer answered ${status}.` });
    } else {
      trouble = status >= 500 ? "" : answer.error || "";
      return false;
    }
    for (const fn of answered) fn(item, status, answer);
    return true;
  }

  async function run() {
    trouble = "";
    for (;;) {
      await look();
      const next = items.find((item) => item.state === "waits");
      if (!next) return true;
      current = next.seq;
      try {
        if (!(await settle(next))) return false;
      } catch {
        return false; // no contact: it stays, and so does all that was written after it
      } finally {
        current = null;
      }
    }
  }

  function flush() {
    if (sending) {
      anew = true; // contact may have come back while a sending without it was still failing
      return sending;
    }
    anew = false;
    clearTimeout(timer);
    const one = navigator.locks ? navigator.locks.request("underlid-queue", run) : run();
    sending = Promise.resolve(one)
      .catch(() => false)
      .then(async (done) => {
        sending = null;
        failures = done ? 0 : failures + 1;
        await look();
        if (items.some((item) => item.state === "waits")) {
          timer = setTimeout(flush, done || anew ? 0 : Math.min(EVERY * 2 ** (failures - 1), LONGEST));
        }
      });
    return sending;
  }

  async function add(path, body) {
    const item = { path, body, key: body.key ?? uuid(), made: new Date().toISOString(), state: "waits" };
    item.seq = await put(item);
    await look();
    flush();
    return item;
  }

  // Whether it could be taken out before it was sent.
  async function remove(key) {
    const item = (await all()).find((one) => one.key === key);
    if (!item || item.seq === current) return false;
    await drop(item.seq);
    await look();
    return true;
  }

  async function mend(seq, body) {
    const item = (await all()).find((one) => one.seq === seq);
    if (!item) return;
    await put({ path: item.path, body, key: body.key ?? item.key, made: item.made, state: "waits", seq });
    await look();
    await flush();
  }

  // --- what is shown ---

  async function look() {
    items = (await all()).sort((one, other) => one.seq - other.seq);
    show();
    for (const fn of changed) fn(state());
  }

  const state = () => ({
    waiting: items.filter((item) => item.state === "waits").length,
    mending: items.filter((item) => item.state === "mend").length,
    items: items.slice(),
  });

  const entries = (many) => (many === 1 ? "1 entry" : `${many} entries`);

  function show() {
    const { waiting, mending } = state();
    const said = [];
    if (waiting) said.push(`${entries(waiting)} ${waiting === 1 ? "waits" : "wait"} on this phone`);
    if (mending) said.push(`${entries(mending)} ${mending === 1 ? "needs" : "need"} mending`);
    if (memory && waiting) said.push("this browser cannot keep them: leave the page open");
    if (trouble && waiting) said.push(trouble);
    const status = document.getElementById("queue");
    const text = said.join("; ");
    if (status && status.dataset.said !== text) {
      status.dataset.said = text;
      status.hidden = !text;
      status.textContent = text;
      if (mending && !document.getElementById("mending")) {
        const link = Object.assign(document.createElement("a"), { href: "/", textContent: "Mend" });
        status.append(" ", link);
      }
    }
    showMending();
  }

  function showMending() {
    const panel = document.getElementById("mending");
    if (!panel) return;
    const list = panel.querySelector("ul");
    const broken = items.filter((item) => item.state === "mend");
    panel.hidden = !broken.length;
    for (const row of [...list.children]) {
      if (!broken.some((item) => String(item.seq) === row.dataset.seq)) row.remove();
    }
    for (const item of broken) {
      if (!list.querySelector(`[data-seq="${item.seq}"]`)) list.append(rowOf(item));
    }
  }

  function element(tag, facts, ...inside) {
    const made = Object.assign(document.createElement(tag), facts);
    made.append(...inside);
    return made;
  }

  function rowOf(item) {
    const row = element("li", { className: "card" });
    row.dataset.seq = item.seq;
    row.append(element("p", { className: "alarm", textContent: item.error }));
    const words = typeof item.body.words === "string" ? element("textarea", { value: item.body.words, rows: 2 }) : null;
    const at = item.body.at ? element("input", { type: "datetime-local", value: item.body.at.slice(0, 16) }) : null;
    if (words) row.append(element("label", {}, "Words", words));
    if (at) row.append(element("label", {}, "When", at));
    const again = element("button", { type: "button", className: "main", textContent: "Send again" });
    again.addEventListener("click", () => {
      const body = { ...item.body };
      if (words) body.words = words.value;
      if (at && at.value && at.value !== item.body.at.slice(0, 16)) body.at = isoOf(new Date(at.value));
      const same = body.words === item.body.words && body.at === item.body.at;
      if (!same && body.key) body.key = uuid(); // other words are another entry
      row.remove();
      mend(item.seq, body);
    });
    const away = element("button", { type: "button", textContent: "Delete" });
    away.addEventListener("click", async () => {
      if (away.dataset.sure) {
        await drop(item.seq);
        await look();
      } else {
        away.dataset.sure = "yes";
        away.textContent = "Delete for good";
      }
    });
    row.append(element("p", { className: "row" }, again, away));
    return row;
  }

  // The device's own time with its zone, to the second.
  function isoOf(date) {
    const ahead = -date.getTimezoneOffset();
    const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
    const local = new Date(date.getTime() + ahead * 60_000).toISOString().slice(0, 19);
    return `${local}${ahead < 0 ? "-" : "+"}${two(ahead / 60)}:${two(ahead % 60)}`;
  }

  // --- opening pages without contact ---

  function unreachable() {
    const note = document.getElementById("offline-note");
    if (note) note.hidden = false;
  }

  async function keepPages() {
    const links = [...document.querySelectorAll("a[data-keep]")].map((link) => link.getAttribute("href"));
    const ready = await navigator.serviceWorker.ready;
    ready.active?.postMessage({ keep: [...new Set([location.pathname, ...links])] });
  }

  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register("/sw.js").then(keepPages).catch(unreachable);
  } else {
    unreachable();
  }
  navigator.storage?.persist?.();

  window.underlidQueue = {
    add, flush, remove, uuid, isoOf,
    onChange: (fn) => { changed.push(fn); fn(state()); },
    onAnswer: (fn) => answered.push(fn),
  };
  const again = () => { failures = 0; flush(); };
  window.addEventListener("online", again);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) again(); });
  flush();
})();
