// At the bin: taps compose words, the bin's computer says what it understands, and the queue keeps what is stored.
"use strict";

(() => {
  const byId = (id) => document.getElementById(id);

  // A new bin: its zone is that of the phone, unless it was written.
  const zone = byId("timezone");
  if (zone && !zone.value) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone || "";

  const root = byId("at-bin");
  if (!root) return;
  const queue = window.underlidQueue;
  const { bin, api } = root.dataset;
  const words = byId("words"), chips = byId("chips"), status = byId("line-status");
  const remembered = (name) => localStorage.getItem(`underlid ${bin} ${name}`) || "";
  const remember = (name, value) => localStorage.setItem(`underlid ${bin} ${name}`, value);
  let replacing = null; // the part of the line that a pad mends
  let refusal = "", parseTimer = null, asking = null, undoing = null, undoTimer = null;

  byId("taps").hidden = false;
  byId("when").hidden = false;
  byId("check").hidden = true;

  // --- the line and what is understood of it ---

  function setLine(text) {
    words.value = text;
    understand(0);
  }

  function addWords(clause) {
    if (replacing) {
      const { start, end } = replacing;
      replacing = null;
      return setLine(words.value.slice(0, start) + clause + words.value.slice(end));
    }
    const before = words.value.trim().replace(/[;,\s]+$/, "");
    setLine(before ? `${before}; ${clause}` : clause);
  }

  function cut({ start, end }) {
    const before = words.value.slice(0, start).replace(/(?:[;,]|\s(?:and|&))?\s*$/, "");
    const after = words.value.slice(end).replace(/^\s*(?:[;,]|(?:and|&)\s)?\s*/, "");
    const joint = before && after ? (before.endsWith(":") ? " " : "; ") : "";
    const left = before + joint + after;
    setLine(/^[^;,]*:$/.test(left) ? "" : left); // a date alone says nothing
  }

  function chipOf(entry) {
    const row = document.createElement("li");
    const mend = Object.assign(document.createElement("button"), { type: "button", textContent: entry.what });
    mend.className = "chip-words";
    mend.setAttribute("aria-label", `Mend: ${entry.what}`);
    mend.addEventListener("click", () => mendPart(entry));
    const away = Object.assign(document.createElement("button"), { type: "button", textContent: "×" });
    away.className = "chip-away";
    away.setAttribute("aria-label", `Remove: ${entry.what}`);
    away.addEventListener("click", () => { cut(entry); byId("store").focus(); });
    row.append(mend, away);
    return row;
  }

  function mendPart(entry) {
    const part = { start: entry.start, end: entry.end };
    if (entry.quantity === "temperature" && entry.place !== "not noted" && /[\d½]/.test(entry.words)) {
      openPad(entry.place, part);
    } else {
      words.focus();
      words.setSelectionRange(part.start, part.end);
    }
  }

  function understand(wait = 400) {
    clearTimeout(parseTimer);
    asking?.abort();
    remember("draft", words.value);
    refusal = "";
    if (!words.value.trim()) {
      chips.replaceChildren();
      status.textContent = "";
      words.removeAttribute("aria-invalid");
      return;
    }
    parseTimer = setTimeout(ask, wait);
  }

  async function ask() {
    asking = new AbortController();
    const { signal } = asking;
    try {
      const response = await fetch(`${api}/parse`, {
        method: "POST", signal, credentials: "same-origin",
        headers: {
          "Content-Type": "application/json",
          "X-CSRF-Token": document.querySelector('meta[name="csrf"]').content,
        },
        body: JSON.stringify({ words: words.value, at: chosenTime() }),
      });
      const told = await response.json();
      if (signal.aborted) return;
      if (response.ok) {
        chips.replaceChildren(...told.entries.map(chipOf));
        status.textContent = told.notes.filter((note) => !note.startsWith("no date written")).join(". ");
      } else if (response.status === 422) {
        refusal = told.error;
        chips.replaceChildren();
        status.textContent = refusal;
      } else {
        status.textContent = told.error || "";
      }
      words.toggleAttribute("aria-invalid", Boolean(refusal));
    } catch {
      if (signal.aborted) return;
      chips.replaceChildren();
      status.textContent = "Not checked: the bin’s computer cannot be reached. Your words are kept as they are.";
    }
  }

  words.addEventListener("input", () => understand());

  // --- when ---

  const chosenTime = () => queue.isoOf(byId("at").value ? new Date(byId("at").value) : new Date());

  function showWhen() {
    const { value } = byId("at");
    byId("when-shown").textContent = value ? `At ${value.replace("T", " ")}` : "Just now";
    understand();
  }
  byId("at").addEventListener("change", showWhen);
  byId("just-now").addEventListener("click", () => {
    byId("at").value = "";
    byId("when").open = false;
    showWhen();
  });
  byId("when").addEventListener("toggle", () => {
    if (byId("when").open && !byId("at").value) {
      byId("at").value = queue.isoOf(new Date()).slice(0, 16);
      showWhen();
    }
  });

  // --- storing and undoing ---

  function toast(text, undo) {
    clearTimeout(undoTimer);
    undoing = undo;
    byId("toast").hidden = false;
    byId("toast-text").textContent = text;
    byId("undo").hidden = !undo;
    undoTimer = setTimeout(() => { byId("toast").hidden = true; undoing = null; }, 10_000);
  }

  byId("line-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = words.value.trim();
    if (!text || refusal) {
      status.textContent = "";
      status.textContent = refusal || "Nothing is written yet: tap a place, or write what you saw.";
      return;
    }
    const body = { key: queue.uuid(), words: text, at: chosenTime() };
    const corrects = byId("corrects");
    if (corrects) body.corrects = corrects.value;
    try {
      await queue.add(`${api}/entries`, body);
    } catch {
      status.textContent = "This phone could not keep it: free some space on it, then store again.";
      return;
    }
    byId("at").value = "";
    byId("when").open = false;
    byId("when-shown").textContent = "Just now";
    setLine("");
    toast(`Kept on this phone: ${text}.`, body);
    corrects?.closest("form").querySelector("#corrects").remove();
  });

  byId("undo").addEventListener("click", async () => {
    const body = undoing;
    if (!body) return;
    undoing = null;
    if (!(await queue.remove(body.key))) await queue.add(`${api}/withdrawals`, { key: queue.uuid(), of: body.key });
    const free = !words.value.trim(); // what is being written now is not overwritten
    if (free) setLine(body.words);
    toast(free ? "Taken back; the words are in the line again." : "Taken back.", null);
  });

  queue.onAnswer((item, code, answer) => {
    if (item.path === `${api}/withdrawals` && code < 300) {
      for (const line of root.querySelectorAll(`[data-key="${item.body.of}"]`)) line.remove();
    }
    if (item.path !== `${api}/entries`) return;
    if (code >= 200 && code < 300) {
      for (const entry of answer.entries) {
        const row = Object.assign(document.createElement("li"), { textContent: entry.understood });
        row.dataset.key = item.key;
        byId("latest").prepend(row);
      }
      if (undoing?.key === item.key) {
        byId("toast-text").textContent = `Stored: ${answer.entries.map((entry) => entry.understood).join("; ")}.`;
      }
      for (const sentence of answer.alarms) {
        const line = Object.assign(document.createElement("p"), { className: "alarm" });
        line.dataset.key = item.key;
        line.append(Object.assign(document.createElement("strong"), { textContent: "For the animals’ sake: " }), sentence);
        byId("alarms").append(line);
      }
    } else if (undoing?.key === item.key) {
      byId("toast").hidden = true; // what is to be mended is shown above
      byId("mending").scrollIntoView();
    }
  });

  // --- the number pad ---

  const pad = { of: "", place: "", parts: [""], about: false, unit: remembered("unit") || "C", strip: false };
  const padWords = () => `${pad.about ? "about " : ""}${pad.parts.filter(Boolean).join(" to ")}`;
  const number = (part) => Number(part.replace("½", ".5").replace(/^(-?)\./, "$10."));

  function asHalves(value) {
    const whole = Math.trunc(Math.abs(value)), half = Math.abs(value) % 1 >= 0.5 ? "½" : "";
    const digits = whole || !half ? String(whole) : "";
    return `${value < 0 && (whole || half) ? "-" : ""}${digits}${half}`;
  }

  function openPad(place, part = null, of = "temperature") {
    Object.assign(pad, { of, place, parts: [""], about: false, strip: false });
    replacing = part;
    const acid = of === "pH";
    byId("pad-title").textContent = acid ? "pH" : `Temperature, ${place}`;
    byId("pad-minus").disabled = acid;
    byId("pad-unit").hidden = acid;
    byId("pad-strip").hidden = !acid;
    byId("pad-where").hidden = !acid;
    const last = remembered(`${of} ${place}`);
    byId("pad-last").hidden = !last;
    byId("pad-last").textContent = `as last time: ${last}`;
    showPad();
    byId("sheet-pad").showModal();
  }

  function showPad() {
    const unit = pad.of === "pH" ? "" : ` °${pad.unit}`;
    byId("pad-shown").textContent = pad.parts[0] ? `${padWords().replaceAll("-", "−")}${pad.parts.length > 1 && !pad.parts[1] ? " to …" : ""}${unit}` : "–";
    byId("pad-about").setAttribute("aria-pressed", pad.about);
    byId("pad-strip").setAttribute("aria-pressed", pad.strip);
    byId("pad-unit").textContent = `°${pad.unit}, change to °${pad.unit === "C" ? "F" : "C"}`;
    byId("pad-add").disabled = !/[\d½]/.test(pad.parts[0]);
  }

  function press(key) {
    const at = pad.parts.length - 1, part = pad.parts[at];
    if (key === "about") pad.about = !pad.about;
    else if (key === "strip") pad.strip = !pad.strip;
    else if (key === "unit") remember("unit", (pad.unit = pad.unit === "C" ? "F" : "C"));
    else if (key === "to") { if (at === 0 && /[\d½]/.test(part)) pad.parts.push(""); }
    else if (key === "back") {
      if (!part && at) pad.parts.pop();
      else pad.parts[at] = part.slice(0, -1);
    } else if (key === "-") pad.parts[at] = part.startsWith("-") ? part.slice(1) : `-${part}`;
    else if (key === "up" || key === "down") pad.parts[at] = asHalves((number(part) || 0) + (key === "up" ? 0.5 : -0.5));
    else if (key === ".") { if (/\d$/.test(part) && !part.includes(".")) pad.parts[at] += "."; }
    else if (key === "½") { if (!/[½.]/.test(part)) pad.parts[at] += "½"; }
    else if (!part.includes("½") && part.length < 6) pad.parts[at] += key;
    showPad();
  }

  byId("sheet-pad").addEventListener("click", (event) => {
    const button = event.target.closest("button[data-key]");
    if (button) press(button.dataset.key);
  });

  byId("pad-last").addEventListener("click", () => {
    const last = remembered(`${pad.of} ${pad.place}`).replaceAll("−", "-");
    pad.about = last.startsWith("about ");
    if (/F$/.test(last)) pad.unit = "F";
    else if (/C$/.test(last)) pad.unit = "C";
    pad.parts = last.replace("about ", "").replace(/\s*°[CF]$/, "").split(" to ");
    showPad();
  });

  function addPad() {
    pad.parts = pad.parts.map((part) => part.replace(/\.$/, "")).filter((part) => /[\d½]/.test(part));
    const said = padWords();
    remember(`${pad.of} ${pad.place}`, byId("pad-shown").textContent.replace(" to …", ""));
    if (pad.of === "pH") {
      const place = chosen("pad-place");
      return `${place ? `${place} ` : ""}pH ${said}${pad.strip ? " (strip)" : ""}`;
    }
    // "temp" makes it plain where a number has no digit before its half.
    return `${pad.place} temp ${said} ${pad.unit}`;
  }

  // --- the other sheets ---

  const chosen = (name) => root.querySelector(`input[name="${name}"]:checked`)?.value ?? "";
  const plain = (text) => text.replace(/[;\n]+/g, ", ").replace(/\s+/g, " ").trim();
  const inPlace = (place) => ({ middle: " in the middle", edge: " at the edge", surface: " at the surface" })[place] ?? "";
  const count = (id) => (byId(id).textContent === "–" ? null : Number(byId(id).textContent));

  const say = {
    pad: addPad,
    moisture: () => `${chosen("moisture-place")} ${chosen("feel")}`.trim(),
    fed: () => {
      const material = plain(byId("fed-material").value), amount = count("fed-amount");
      if (!material) return "";
      const known = [material, ...remembered("fed").split("\n").filter((one) => one && one !== material)];
      remember("fed", known.slice(0, 4).join("\n"));
      const much = amount ? `${byId("fed-about").checked ? "about " : ""}${amount} ${chosen("fed-unit")} ` : "";
      return `fed ${much}${material}${inPlace(chosen("fed-place"))}`;
    },
    seen: () => {
      const many = count("seen-many");
      if (many === null) return "";
      const what = chosen("seen-what");
      return `saw ${many === 0 ? "no" : chosen("seen-how") + many} ${many === 1 ? what.slice(0, -1) : what}${inPlace(chosen("seen-place"))}`;
    },
    count: () => {
      const found = [...root.querySelectorAll("output[id^='count-']")].map((shown) => [shown.id.slice(6), count(shown.id)]);
      const said = found.filter(([, many]) => many !== null).map(([stage, many]) => `${many} ${stage}${many === 1 ? "" : "s"}`);
      if (!said.length) return "";
      if (byId("count-full").checked) return `full sort: ${said.join(", ")}`;
      return `sample ${plain(byId("count-volume").value)} ${chosen("count-place")}`.trim() + `: ${said.join(", ")}`;
    },
    note: () => (plain(byId("note-text").value) ? `note: ${plain(byId("note-text").value)}` : ""),
  };

  async function addPhoto() {
    const [file] = byId("photo-file").files;
    if (!file) return;
    const shown = plain(byId("photo-words").value);
const body = { picture: file, key: queue.uuid(), words: shown };
    if (byId("at").value) body.when = byId("at").value.replace("T", " "); // else the picture says when it was taken
    await queue.add(`${api}/photos`, body);
    byId("photo-file").value = "";
    toast("Picture kept; it is sent when the bin’s computer can be reached.", null);
  }

  function clear(sheet) {
    for (const shown of sheet.querySelectorAll(".counter output")) shown.textContent = "–";
    for (const field of sheet.querySelectorAll("textarea, #fed-material, #photo-words")) field.value = "";
  }

  for (const button of root.querySelectorAll("[data-place]")) {
    button.addEventListener("click", () => openPad(button.dataset.place));
  }
  for (const button of root.querySelectorAll("[data-sheet]")) {
    button.addEventListener("click", () => {
      const { sheet } = button.dataset;
      replacing = null;
      if (sheet === "ph") return openPad("", null, "pH");
      if (sheet === "fed") showRecent();
      byId(`sheet-${sheet}`).showModal();
    });
  }
  for (const sheet of root.querySelectorAll("dialog.sheet")) {
    const name = sheet.id.slice(6);
    sheet.addEventListener("close", () => { replacing = null; });
    sheet.querySelector("[data-close]").addEventListener("click", () => sheet.close());
    sheet.querySelector("[data-add]").addEventListener("click", async () => {
      if (name === "photo") await addPhoto();
      else {
        const clause = say[name]();
        if (clause) addWords(clause);
      }
      clear(sheet);
      sheet.close();
      byId("store").focus({ preventScroll: true });
    });
  }
  root.addEventListener("click", (event) => {
    const step = event.target.closest("button[data-of]");
    if (step) {
      const shown = byId(step.dataset.of), before = count(step.dataset.of);
      shown.textContent = Math.min(9999, Math.max(0, (before ?? 0) + Number(step.dataset.step)));
    }
    const volume = event.target.closest("button[data-volume]");
    if (volume) byId("count-volume").value = volume.dataset.volume;
  });
  byId("count-full").addEventListener("change", () => { byId("count-sample").hidden = byId("count-full").checked; });

  function showRecent() {
    const known = remembered("fed").split("\n").filter(Boolean);
    const buttons = known.map((material) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: material });
      button.addEventListener("click", () => { byId("fed-material").value = material; });
      return button;
    });
    byId("fed-recent").replaceChildren(...buttons);
    byId("fed-known").replaceChildren(...known.map((value) => Object.assign(document.createElement("option"), { value })));
  }

  if (words.value.trim()) understand(0);
  else if (remembered("draft")) setLine(remembered("draft"));
})();
