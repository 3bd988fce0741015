// Animals are marked on a picture by tapping, or with a cursor that the arrow keys move; marks not yet saved stay on this device.
"use strict";

(() => {
  const root = document.getElementById("tally");
  if (!root) return;
  const photo = root.dataset.photo;
  const width = Number(root.dataset.width), height = Number(root.dataset.height);
  const longer = Math.max(width, height);
  const most = Number(root.dataset.most);
  const plate = document.getElementById("plate"), svg = document.getElementById("marks");
  const said = document.getElementById("said"), by = document.getElementById("by");
  const radios = [...root.querySelectorAll("input[name=stage]")];
  const stages = radios.map((radio) => radio.value);
  const kept = `underlid tally ${photo}`;
  const MARK = 10, REACH = 14; // px on the screen: half the size of a mark, and how near a tap must be to remove one
  let marks = [], cursor = null, mine = false;

  const recall = (key) => { try { return localStorage.getItem(key); } catch { return null; } };
  const remember = (key, value) => { try { localStorage.setItem(key, value); } catch { /* only while the page is open */ } };

  for (const part of root.querySelectorAll(".tools")) part.hidden = false;
  for (const part of document.querySelectorAll(".store")) part.hidden = false;
  plate.tabIndex = 0;
  by.value = recall("underlid counts as") || "";
  try {
    marks = JSON.parse(recall(kept) || "[]").filter((mark) => stages.includes(mark.stage)).slice(0, most);
  } catch { marks = []; }

  const chosen = () => radios.find((radio) => radio.checked).value;
  const plain = (name) => name.trim().toLowerCase();
  const tell = (words) => { said.textContent = words; };

  function piece(name, values, text) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    return made;
  }

  const onScreen = (pixels) => pixels * width / (svg.clientWidth || width); // in the picture's own

  function draw() {
    const size = onScreen(MARK);
    svg.replaceChildren();
    for (const mark of marks) {
      const x = mark.x * width, y = mark.y * height, number = stages.indexOf(mark.stage) + 1;
      svg.append(piece("circle", { cx: x, cy: y, r: size, class: `s${number}`, "stroke-width": size / 6 }));
      svg.append(piece("text", { x, y: y + 0.38 * size, "font-size": 1.1 * size, class: `s${number}` }, number));
    }
    if (cursor) {
      const x = cursor.x * width, y = cursor.y * height, arm = 2 * size;
      for (const look of ["under", "over"]) {
        svg.append(piece("path", { d: `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`, class: `cursor ${look}`, "stroke-width": size / (look === "under" ? 3 : 7) }));
      }
    }
    for (const many of root.querySelectorAll(".many")) {
      many.textContent = marks.filter((mark) => mark.stage === many.dataset.stage).length;
    }
    remember(kept, JSON.stringify(marks));
  }

  function nearest(x, y, reach) {
    let found = -1, least = reach;
    marks.forEach((mark, i) => {
      const apart = Math.hypot((mark.x - x) * width, (mark.y - y) * height);
      if (apart <= least) [found, least] = [i, apart];
    });
    return found;
  }

  function toggle(x, y, stage) {
    const at = nearest(x, y, onScreen(REACH));
    if (at >= 0) {
      const [gone] = marks.splice(at, 1);
      tell(`Removed 1 ${gone.stage}; ${count(gone.stage)}.`);
    } else if (marks.length >= most) {
      tell(`${most} marks are all that a picture takes.`);
    } else {
      marks.push({ x, y, stage });
      tell(`Marked; ${count(stage)}.`);
    }
    draw();
  }

  function count(stage) {
    const many = marks.filter((mark) => mark.stage === stage).length;
    return `${many} ${stage}${many === 1 ? "" : "s"}`;
  }

  plate.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width, y = (event.clientY - box.top) / box.height;
    if (x >= 0 && x <= 1 && y >= 0 && y <= 1) toggle(x, y, chosen());
  });

  plate.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    cursor ??= { x: 0.5, y: 0.5 };
    if (event.key in moves) {
      const step = (event.shiftKey ? 0.05 : 0.01) * longer;
      const within = (share) => Math.min(1, Math.max(0, share));
      cursor = {
        x: within(cursor.x + moves[event.key][0] * step / width),
        y: within(cursor.y + moves[event.key][1] * step / height),
      };
      const at = nearest(cursor.x, cursor.y, onScreen(REACH));
      tell(`${Math.round(100 * cursor.x)} % across, ${Math.round(100 * cursor.y)} % down${at < 0 ? "" : `, at a marked ${marks[at].stage}`}`);
      draw();
      follow();
    } else if (/^[1-9]$/.test(event.key) && Number(event.key) <= stages.length) {
      toggle(cursor.x, cursor.y, stages[Number(event.key) - 1]);
    } else if (event.key === "Enter" || event.key === " ") {
      toggle(cursor.x, cursor.y, chosen());
    } else if (event.key === "Delete" || event.key === "Backspace") {
      const at = nearest(cursor.x, cursor.y, Infinity);
      if (at >= 0) toggle(marks[at].x, marks[at].y, marks[at].stage);
    } else {
      return;
    }
    event.preventDefault();
  });

  function follow() {
    const pane = document.getElementById("pane");
    pane.scrollLeft = cursor.x * plate.offsetWidth - pane.clientWidth / 2;
    pane.scrollTop = cursor.y * plate.offsetHeight - pane.clientHeight / 2;
  }

  for (const button of root.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => {
      plate.className = `plate zoom-${button.dataset.zoom}`;
      for (const other of root.querySelectorAll("[data-zoom]")) other.setAttribute("aria-pressed", String(other === button));
      draw();
      if (cursor) follow();
    });
  }

  async function send(path, body) {
    const token = document.querySelector("meta[name=csrf]").content;
    let answer;
    try {
      answer = await fetch(`/api/photos/${photo}/${path}`, {
        method: "POST", headers: { "Content-Type": "application/json", "X-CSRF-Token": token }, body: JSON.stringify(body),
      });
    } catch {
      tell("The bin's computer cannot be reached; your marks stay on this device. Try again near it.");
      return null;
    }
    const told = await answer.json().catch(() => ({}));
    if (!answer.ok) tell(told.error || "It was not taken.");
    return answer.ok ? told : null;
  }

  document.getElementById("save").addEventListener("click", async () => {
    if (!by.value.trim()) {
      tell("Say who counts first.");
      by.focus();
      return;
    }
    const standing = [...document.querySelectorAll("[data-by]")].some((button) => plain(button.dataset.by) === plain(by.value));
    if (standing && !mine && !confirm(`Let these marks take the place of those saved under “${by.value.trim()}”?`)) return;
    remember("underlid counts as", by.value.trim());
    if (!await send("tallies", { by: by.value.trim(), marks })) return;
    marks = []; // the next to count must not see them
    draw();
    location.reload();
  });

  document.getElementById("mine").addEventListener("click", async () => {
    const answer = await fetch(`/api/photos/${photo}/tallies`).then((got) => got.json()).catch(() => null);
    const found = answer && (answer.tallies || []).find((tally) => plain(tally.by) === plain(by.value));
    if (!found) return tell(answer ? "No marks are saved under that name." : "The bin's computer cannot be reached.");
    if (marks.length && !confirm("Let your saved marks take the place of those you see?")) return;
    marks = found.marks;
    mine = true;
    draw();
    tell(`${marks.length} saved marks of ${found.by}.`);
  });

  document.getElementById("clear").addEventListener("click", () => {
    if (marks.length && !confirm(`Remove all ${marks.length} marks?`)) return;
    marks = [];
    draw();
    tell("All marks are removed here; nothing is saved yet.");
  });

  for (const button of document.querySelectorAll("[data-by]")) {
    button.addEventListener("click", async () => {
      const told = await send("sightings", { by: button.dataset.by, bin: button.dataset.bin });
      if (told) tell(`In the journal of ${told.bin}: ${told.said.join("; ") || "nothing"}.`);
    });
  }

  addEventListener("resize", draw);
  draw();
})();
