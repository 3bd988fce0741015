// One bin looked at: a time cursor over the charts, the cut through the bedding played, and questions asked beforehand.
"use strict";
(() => {
  const root = document.getElementById("bin");
  const byId = (id) => document.getElementById(id);
  const HOUR = 3600e3, DAY = 24 * HOUR;
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  // --- numbers and times as words ---------------------------------------------------------------------------
  const minus = (text) => text.replace("-", "−");
  const fixed = (value, digits) => minus((Math.round(value * 10 ** digits) / 10 ** digits + 0).toFixed(digits));
  const fahrenheit = (c) => c * 1.8 + 32;
  const warm = (low, high) => fixed(low, 1) === fixed(high, 1) ? `${fixed(low, 1)} °C (${fixed(fahrenheit(low), 0)} °F)` : `${fixed(low, 1)} to ${fixed(high, 1)} °C (${fixed(fahrenheit(low), 0)} to ${fixed(fahrenheit(high), 0)} °F)`;
  const percent = (low, high) => fixed(low, 0) === fixed(high, 0) ? `${fixed(low, 0)} %` : `${fixed(low, 0)} to ${fixed(high, 0)} %`;
  const wall = new Intl.DateTimeFormat("en-GB", {
    timeZone: "UTC", weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hour12: false,
  });
  const said = (ms) => wall.format(new Date(ms));
  const make = (name, text, kind) => {
    const found = document.createElement(name);
    if (text !== undefined) found.textContent = text;
    if (kind) found.className = kind;
    return found;
  };

  // --- asking the server ------------------------------------------------------------------------------------
  async function fetched(path, body) {
    const options = { credentials: "same-origin", headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.method = "POST";
      options.headers["Content-Type"] = "application/json";
      options.headers["X-CSRF-Token"] = document.querySelector('meta[name="csrf"]').content;
      options.body = JSON.stringify(body);
    }
    const answer = await fetch(path, options);
    let told = {};
    try { told = await answer.json(); } catch { /* an answer without words */ }
    if (!answer.ok) throw new Error(told.error || "The server did not answer; try again.");
    return told;
  }

  async function over(job, onProgress) {
    let pause = 400;
    for (;;) {
      const told = await fetched(`/api/jobs/${encodeURIComponent(job)}`);
      onProgress(told);
      if (["done", "refused", "failed"].includes(told.state)) return told;
      await new Promise((go) => setTimeout(go, pause));
      pause = Math.min(pause * 1.3, 2500);
    }
  }

  // --- the view's own work ----------------------------------------------------------------------------------
  const work = byId("work"), progress = byId("progress"), renew = byId("renew"), fresh = byId("fresh");

  async function follow(job) {
    renew.hidden = true;
    work.hidden = progress.hidden = false;
    let told = -1;
    try {
      const ended = await over(job, (now) => {
        progress.value = now.progress;
        const quarter = Math.floor(now.progress * 4);  // read aloud now and then, not at every step
        if (now.state === "waiting") work.textContent = "Waiting for other work to end.";
        else if (quarter > told) {
          told = quarter;
          work.textContent = `Fitting and drawing ${root.dataset.bin}: ${25 * quarter} % done or more. This page can be used meanwhile.`;
        }
      });
      progress.hidden = true;
      if (ended.state === "done") {
        if (!("view" in root.dataset)) return location.reload();
        work.textContent = "A newer view is ready.";
        fresh.hidden = false;
      } else {
        work.textContent = ended.error;
        renew.hidden = false;
      }
    } catch (error) {
      progress.hidden = true;
      work.textContent = error.message;
      renew.hidden = false;
    }
  }
  fresh.addEventListener("click", () => location.reload());
  renew.addEventListener("click", async () => {
    try { follow((await fetched(`${root.dataset.api}/view`, {})).id); } catch (error) { work.hidden = false; work.textContent = error.message; }
  });
  if (root.dataset.job && !progress.hidden) follow(root.dataset.job);
  else renew.hidden = false;

  // --- the time cursor --------------------------------------------------------------------------------------
  const PLACES = [["middle", "Middle"], ["edge", "Edge"], ["surface", "Surface"], ["air", "Air"], ["refuge", "Refuge"], ["moisture", "Water"], ["ice", "Ice"]];
  let view = null, times = [], cut = null;
  const cursor = byId("when"), values = byId("values"), shown = byId("when-shown");
  const first = Number(root.dataset.first), last = Number(root.dataset.last);
  const nearest = (list, ms) => {
    let low = 0, high = list.length - 1;
    while (low < high) { const mid = (low + high) >> 1; if (list[mid] < ms) low = mid + 1; else high = mid; }
    return low > 0 && ms - list[low - 1] < list[low] - ms ? low - 1 : low;
  };
  const panels = [...document.querySelectorAll(".panel [data-frame]")].map((box) => {
    const [left, top, width, height] = box.dataset.frame.split(",").map(Number);
    const svg = box.querySelector("svg");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "crosshair");
    line.setAttribute("y1", top);
    line.setAttribute("y2", top + height);
    svg.append(line);
    return { svg, line, left, width };
  });

  function near(ms) {
    const reach = (last - first) / 120;
    return view.items.filter((item) => item.start - reach <= ms && ms <= item.end + reach);
  }

  let speak = 0;
  function point(index, quiet) {
    const ms = times[index];
    cursor.value = index;
    shown.textContent = said(ms);
    cursor.setAttribute("aria-valuetext", said(ms));
    for (const { line, left, width } of panels) {
      const x = left + width * (ms - first) / (last - first);
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
    }
    clearTimeout(speak);
    speak = setTimeout(() => values.replaceChildren(...told(ms)), quiet ? 0 : 120);
    if (cut && !playing) show(nearest(cut.at, ms), true);
  }

  function told(ms) {
    const parts = [];
    if (view.series) {
      const at = nearest(view.series.at, ms);
      const from = at < view.series.predicted_from ? "estimated" : "predicted";
      const list = make("dl");
      for (const [name, label] of PLACES) {
        const [low, , high] = view.series[name].map((row) => row[at]);
        if (name === "ice" && high < 1) continue;
        const row = make("div");
        row.append(make("dt", label), make("dd", view.series.units[name] === "degC" ? warm(low, high) : percent(low, high)));
        list.append(row);
      }
      parts.push(make("p", `${from[0].toUpperCase()}${from.slice(1)}, nine chances in ten:`, "provenance"), list);
    }
    const noted = near(ms);
    if (noted.length) {
      const some = noted.slice(0, 4).map((item) => item.says).join("; ");
      parts.push(make("p", `Read and noted about then: ${some}${noted.length > 4 ? `; and ${noted.length - 4} more` : ""}.`));
    } else if (!view.series) parts.push(make("p", "Nothing was noted about then."));
    return parts;
  }

  function startCursor() {
    if (!panels.length || !(last > first)) return;
    const grid = view.series ? view.series.at : Array.from({ length: Math.floor((last - first) / (6 * HOUR)) + 1 }, (_, i) => first + 6 * HOUR * i);
    times = grid.filter((ms) => first <= ms && ms <= last);
    if (!times.length) return;
    cursor.max = times.length - 1;
    byId("cursor").hidden = false;
    cursor.addEventListener("input", () => point(Number(cursor.value)));
    cursor.addEventListener("keydown", (event) => {
      const way = { PageUp: 1, PageDown: -1 }[event.key];
      if (!way) return;
      event.preventDefault();
      point(nearest(times, times[Number(cursor.value)] + way * DAY));
    });
    for (const { svg, left, width } of panels) {
      const at = (event) => {
        const box = svg.getBoundingClientRect(), scale = svg.viewBox.baseVal.width / box.width;
        const share = ((event.clientX - box.left) * scale - left) / width;
        point(nearest(times, first + Math.min(1, Math.max(0, share)) * (last - first)));
      };
      svg.addEventListener("pointerdown", at);
      svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" || event.buttons) at(event); });
    }
    point(nearest(times, view.now), true);
  }

  // --- the cut ----------------------------------------------------------------------------------------------
  // Cold is blue, warm is red by way of yellow, in steps that colour-blind people can tell apart (ColorBrewer RdYlBu).
  const STEPS = [-5, -2, 0, 2, 5, 8, 12, 16, 20, 25];
  const COLOURS = ["#313695", "#4575b4", "#74add1", "#abd9e9", "#e0f3f8", "#ffffbf", "#fee090", "#fdae61", "#f46d43", "#d73027", "#a50026"];
  const colour = (c) => COLOURS[STEPS.filter((edge) => c >= edge).length];
  const cells = [...document.querySelectorAll("#cut-drawn g[data-row]")].map((group) => ({
    row: Number(group.dataset.row), column: Number(group.dataset.column), cell: group.querySelector(".cell"),
    hatch: group.querySelector(".hatch"), text: group.querySelector("text"), group,
  }));
  let playing = 0, step = 0;

  for (const { cell } of cells) cell.style.fill = colour(Number(cell.dataset.c));
  if (byId("scale")) {
    COLOURS.forEach((shade, i) => {
      const part = make("span", i === 0 ? "colder" : `${minus(String(STEPS[i - 1]))} (${fixed(fahrenheit(STEPS[i - 1]), 0)})`, [0, 1, 9, 10].includes(i) ? "on-dark" : "");
      part.style.background = shade;
      byId("scale").append(part);
    });
  }

  const half = () => (cut.columns + 1) / 2;
  const points = (row, column) => {
    const at = row * half() + Math.min(column, cut.columns - 1 - column);
    return ["p5", "p50", "p95"].map((name) => cut.tenths[name][step][at] / 10);
  };

  function show(index, quiet) {
    step = index;
    const [least, most] = cut.band_c;
    const inF = byId("fahrenheit").checked;
    let outside = 0, coldest = Infinity, warmest = -Infinity;
    for (const { row, column, cell, hatch, text } of cells) {
      const middle = points(row, column)[1];
      const out = middle < least || middle > most;
      outside += out;
      coldest = Math.min(coldest, middle);
      warmest = Math.max(warmest, middle);
      cell.style.fill = colour(middle);
      hatch.setAttribute("visibility", out ? "visible" : "hidden");
      text.textContent = inF ? fixed(fahrenheit(middle), 0) : fixed(middle, 1);
    }
    const ms = cut.at[index], from = index <= cut.now ? "estimated" : "predicted";
    byId("step").value = index;
    byId("step").setAttribute("aria-valuetext", said(ms));
    byId("cut-when").textContent = said(ms);
    byId("cut-from").textContent = from;
    byId("cut-from").className = `chip from-${from}`;
    if (playing) return;
    const [low, , high] = cut.refuge_pct.map((row) => row[index]);
    byId("cut-says").textContent =
      `Middle estimates from ${warm(coldest, warmest)}; ${outside ? `${outside} of ${cells.length} parts are outside what the worms tolerate` : "all parts are within what the worms tolerate"}. ` +
      `Refuge in the whole bin ${percent(low, high)} of the bedding, ${from}.`;
    table(ms);
    if (!quiet && times.length && first <= ms && ms <= last) {
      pointOnly(nearest(times, ms));
    }
  }

  function pointOnly(index) {  // the cursor follows the cut, and the cut need not follow back
    const kept = cut;
    cut = null;
    point(index);
    cut = kept;
  }

  function table(ms) {
    const rows = document.querySelectorAll("#cut-table tbody tr");
    rows.forEach((line, row) => [...line.querySelectorAll("td")].forEach((cell, column) => {
      const [low, , high] = points(row, column);
      cell.textContent = warm(low, high);
    }));
    byId("table-when").textContent = said(ms);
  }

  function stop() {
    clearInterval(playing);
    playing = 0;
    byId("play").textContent = "▶";
    byId("play").setAttribute("aria-pressed", "false");
    byId("play").setAttribute("aria-label", "Play");
    show(step);
  }

  function startCut() {
    cut = view.cut;
    if (!cut || !cells.length) { cut = null; return; }
    byId("player").hidden = false;
    byId("step").addEventListener("input", () => { if (playing) stop(); show(Number(byId("step").value)); });
    byId("fahrenheit").addEventListener("change", () => show(step, true));
    byId("play").addEventListener("click", () => {
      if (playing) return stop();
      if (step >= cut.at.length - 1) step = 0;
      byId("play").textContent = "❚❚";
      byId("play").setAttribute("aria-pressed", "true");
      byId("play").setAttribute("aria-label", "Pause");
      // Those who asked for less motion get a step a second, a day at a time, instead of a flowing picture.
      const jump = calm.matches ? 4 : 1;
      playing = setInterval(() => {
        show(Math.min(step + jump, cut.at.length - 1), true);
        if (step >= cut.at.length - 1) stop();
      }, calm.matches ? 1000 : 110);
    });
    byId("cut-drawn").addEventListener("pointerdown", (event) => {
      const group = event.target.closest("g[data-row]");
      if (!group) return;
      const row = Number(group.dataset.row), column = Number(group.dataset.column);
      const [low, , high] = points(row, column);
      byId("cut-says").textContent = `${fixed(100 * cut.wall_m[column], 0)} cm from the wall, ${fixed(100 * cut.depth_m[row], 0)} cm deep: ${warm(low, high)}, nine chances in ten.`;
    });
    show(cut.now, true);
  }

  if ("view" in root.dataset) {
    fetched(`${root.dataset.api}/view`).then((answer) => {
      view = answer.view;
      if (!view) return;
      startCut();
      startCursor();
    }).catch((error) => { work.hidden = false; work.textContent = error.message; });
  }

  // --- questions beforehand ---------------------------------------------------------------------------------
  function rows(heads, lines, of) {
    const box = make("div", undefined, "scroll"), table = make("table"), head = make("tr");
    box.tabIndex = 0;
    box.setAttribute("role", "region");
    box.setAttribute("aria-label", `The figures behind: ${of}`);
    for (const one of heads) { const cell = make("th", one); cell.scope = "col"; head.append(cell); }
    const top = make("thead"), body = make("tbody");
    top.append(head);
    for (const line of lines) {
      const row = make("tr");
      line.forEach((text, i) => { const cell = make(i ? "td" : "th", text); if (!i) cell.scope = "row"; row.append(cell); });
      body.append(row);
    }
    table.append(top, body);
    box.append(table);
    return box;
  }

  function answerShown(found) {
    const parts = [];
    if (found.verdict) {
      parts.push(make("p", `${found.verdict[0].toUpperCase()}${found.verdict.slice(1)}: ${found.what}. ${found.rather}`.trim(), "verdict"));
      parts.push(make("p", `Because: ${found.because}`));
    }
    for (const one of found.verdict ? [] : found.sentences) parts.push(make("p", one, parts.length ? "" : "verdict"));
    for (const one of found.careful) parts.push(make("p", `Careful: ${one}`, "alarm"));
    for (const one of found.cautions) parts.push(make("p", `Beware: ${one}`, "alarm"));
    parts.push(rows(found.heads, found.rows, found.what || found.changes.join(", ")), make("p", "All predicted: 5 to 95 %, with the middle where it is given.", "provenance"));
    const more = make("details"), list = make("ul");
    more.append(make("summary", "More, and what was taken for granted"), list);
    for (const one of [...(found.verdict ? found.sentences : []), ...found.notes]) list.append(make("li", one));
    parts.push(more);
    return parts;
  }

  function asking(form, body) {
    const bar = form.querySelector("progress"), told = form.querySelector(".told"), button = form.querySelector("button");
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (button.disabled) return;
      button.disabled = true;
      bar.hidden = false;
      bar.value = 0;
      told.replaceChildren(make("p", "Working on it."));
      try {
        const job = await fetched(`${root.dataset.api}/${form.dataset.to}`, body(form));
        const ended = await over(job.id, (now) => { bar.value = now.progress; });
        if (ended.state === "done") told.replaceChildren(...answerShown(ended.result));
        else told.replaceChildren(make("p", ended.error, "alarm"));
      } catch (error) {
        told.replaceChildren(make("p", error.message, "alarm"));
      }
      bar.hidden = true;
      button.disabled = false;
    });
  }

  asking(byId("feed"), (form) => ({
    amount: form.elements.amount.value, food: form.elements.food.value, heaps: Number(form.elements.heaps.value) || 1,
  }));
  const change = byId("change").elements;
  asking(byId("change"), () => {
    const body = { insulate_cm: Number(change.insulate_cm.value) };
    if (Number(change.litres.value) > Number(change.litres.dataset.now)) body.litres = Number(change.litres.value);
    if (change.siting.value) body.siting = change.siting.value;
    if (change.siting.value === "indoors") body.room_c = Number(change.room_c.value);
    return body;
  });
  const says = () => {
    const cm = Number(change.insulate_cm.value), litres = Number(change.litres.value), room = Number(change.room_c.value);
    byId("wrap-shown").textContent = cm ? `${cm} cm (${fixed(cm / 2.54, 1)} in)` : "no";
    byId("size-shown").textContent = `${litres} litres${litres > Number(change.litres.dataset.now) ? "" : ", as now"}`;
    byId("room-field").hidden = change.siting.value !== "indoors";
    byId("room-shown").textContent = `about ${room} °C (${fixed(fahrenheit(room), 0)} °F)`;
  };
  byId("change").addEventListener("input", says);
  byId("change").addEventListener("change", says);
  says();
})();
