// The account made alive: lines that read the charts off, the cut through the bedding, and the two ways it is told.
// Everything it says is in the page's own numbers, rounded there; without this script the page says all of it too.
"use strict";
(() => {
  const told = JSON.parse(document.getElementById("told").textContent);
  const NB = "\u00a0";
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
  const number = (value) => String(value).replace("-", "−");
  const even = (value) => {  // halves to the even number, as the page's sentences have it
    const low = Math.floor(value);
    return value - low === 0.5 ? low + (low % 2 ? 1 : 0) : Math.round(value);
  };
  const fahrenheit = (c) => Number((1.8 * c + 32).toFixed(6));
  const ends = (low, high, unit) => `${low === high ? number(low) : `${number(low)}${NB}to${NB}${number(high)}`}${NB}${unit}`;
  const three = (row, index) => [0, 1, 2].map((i) => row[3 * index + i]);
  const warm = ([low, middle, high]) => {
    const [a, b, c] = [low / 2, middle / 2, high / 2];
    return {
      middle: `${number(b)}${NB}°C (${number(even(fahrenheit(b)))}${NB}°F)`,
      range: `${ends(a, c, "°C")} (${ends(Math.floor(fahrenheit(a)), Math.ceil(fahrenheit(c)), "°F")})`,
      sure: low === high,
    };
  };
  const times = (series) => {
    const at = [];
    let extra = 0, jump = 0;
    for (let i = 0; i < series.count; i += 1) {
      while (jump < series.jumps.length && series.jumps[jump][0] <= i) { extra = series.jumps[jump][1]; jump += 1; }
      at.push(series.first + i * series.step + extra);
    }
    return at;
  };
  const day = (ms) => {
    const moment = new Date(ms);
    return `${DAYS[moment.getUTCDay()]} ${moment.getUTCDate()}${NB}${MONTHS[moment.getUTCMonth()]}`;
  };
  const hour = (ms) => `${day(ms)}, ${new Date(ms).toISOString().slice(11, 16)}`;
  const nearest = (at, ms) => {
    let low = 0, high = at.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (at[middle] <= ms) low = middle; else high = middle;
    }
    return ms - at[low] <= at[high] - ms ? low : high;
  };
  const says = (where, when, provenance, text) => {
    const strong = document.createElement("strong"), chip = document.createElement("span");
    strong.textContent = when;
    chip.className = `chip ${provenance}`;
    chip.textContent = provenance;
    where.replaceChildren(strong, " ", chip, ` ${text}`);
  };

  // --- the charts --------------------------------------------------------------------------------------------

  const readers = {
    hours: {
      when: hour,
      text: (series, i) => {
        const air = warm(three(series.air, i)), middle = warm(three(series.middle, i));
        const [low, litres, high] = three(series.litres, i).map((value) => value / 2);
        return `Air ${air.middle}${air.sure ? "" : `, nine in ten ${air.range}`}. Middle of the bedding about ${middle.middle}, ` +
          `nine in ten ${middle.range}. Refuge about ${number(litres)}${NB}litres, nine in ten ${ends(low, high, "litres")}.`;
      },
    },
    days: {
      when: day,
      text: (series, i) => {
        const [few, worms, many] = three(series.worms, i), [least, adults, most] = three(series.adults, i);
        return `About ${ends(worms, worms, worms === 1 ? "worm" : "worms")}, nine in ten ${ends(few, many, "").trim()}; ` +
          `among them about ${ends(adults, adults, adults === 1 ? "adult" : "adults")}, nine in ten ${ends(least, most, "").trim()}.`;
      },
    },
  };

  for (const live of document.querySelectorAll(".live[data-series]")) {
    const series = told[live.dataset.series], reader = readers[live.dataset.series], at = times(series);
    const slider = live.querySelector("input"), output = live.querySelector("p"), [first, last] = series.span;
    const drawings = [...live.parentElement.querySelectorAll("[data-frame]")].map((box) => {
      const line = document.createElement("span");
      line.className = "line";
      box.append(line);
      return { box, line, frame: box.dataset.frame.split(" ").map(Number) };
    });
    const show = (index) => {
      const share = (at[index] - first) / (last - first);
      for (const { line, frame: [left, top, width, height] } of drawings) {
        line.style.cssText = `left:${100 * (left + width * share)}%;top:${100 * top}%;height:${100 * height}%`;
      }
      const [left, , width] = (drawings.find(({ box }) => box.offsetParent) || drawings[0]).frame;
      slider.style.cssText = `margin-left:calc(${100 * left}% - 8px);width:calc(${100 * width}% + 16px)`;  // the thumb under the line
      slider.value = index;
      slider.setAttribute("aria-valuetext", reader.when(at[index]));
      says(output, reader.when(at[index]), index < series.predicted ? "estimated" : "predicted", reader.text(series, index));
    };
    slider.max = at.length - 1;
    slider.addEventListener("input", () => show(Number(slider.value)));
    addEventListener("resize", () => show(Number(slider.value)));
    for (const { box, frame: [left, , width] } of drawings) {
      const point = (event) => {
        const all = box.getBoundingClientRect();
        const share = ((event.clientX - all.left) / all.width - left) / width;
        show(nearest(at, first + Math.min(1, Math.max(0, share)) * (last - first)));
      };
      box.addEventListener("pointermove", point);
      box.addEventListener("pointerdown", point);
    }
    live.hidden = false;
    show(Math.max(0, Math.min(series.predicted, at.length) - 1));
  }

  // --- the cut -----------------------------------------------------------------------------------------------

  const figure = document.getElementById("cut");
  if (figure && told.cut) {
    const series = told.cut, at = times(series), calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const live = figure.querySelector(".live"), slider = live.querySelector("input"), play = live.querySelector("button");
    const [output, part] = live.querySelectorAll("p"), drawing = figure.querySelector("svg"), box = figure.querySelector(".parts");
    const name = drawing.getAttribute("aria-label").split(". ")[0];
    const cells = [...drawing.querySelectorAll("g[data-index]")].map((group) => ({
      group, index: Number(group.dataset.index), row: Number(group.dataset.row), column: Number(group.dataset.column),
      ground: group.querySelector("rect"), frost: group.querySelector(".frost"), text: group.querySelector("text"),
    }));
    const each = 1 + Math.max(...cells.map((cell) => cell.index)), rows = 1 + Math.max(...cells.map((cell) => cell.row));
    let step = series.start, chosen = null, playing = 0;
    const range = (index) => three(series.cells, step * each + index);
    const choose = (cell) => {
      chosen?.group.classList.remove("chosen");
      chosen = cell;
      cell.group.classList.add("chosen");
      const said = warm(range(cell.index));
      part.textContent = `Part ${cell.column + 1} of ${series.columns} from the left, ${cell.row + 1} of ${rows} from the top: about ${said.middle}, nine in ten ${said.range}.`;
    };
    const show = (index) => {
      step = index;
      let coldest = 0, warmest = 0;
      for (let i = 0; i < each; i += 1) {
        if (range(i)[1] < range(coldest)[1]) coldest = i;
        if (range(i)[1] > range(warmest)[1]) warmest = i;
      }
      for (const { index: i, ground, frost, text } of cells) {
        const middle = range(i)[1] / 2, shade = series.edges.filter((edge) => middle >= edge).length;
        ground.setAttribute("fill", series.shades[shade]);
        frost.setAttribute("visibility", middle < 0 ? "visible" : "hidden");
        text.setAttribute("fill", series.inks[shade]);
        text.textContent = number(middle);
      }
      slider.value = index;
      slider.setAttribute("aria-valuetext", hour(at[index]));
      const low = warm(range(coldest)), high = warm(range(warmest));
      const text = `Coldest part about ${low.middle}, nine in ten ${low.range}; warmest part about ${high.middle}, nine in ten ${high.range}.`;
      says(output, hour(at[index]), index < series.predicted ? "estimated" : "predicted", text);
      drawing.setAttribute("aria-label", `${name}. ${hour(at[index])}: ${text}`);
      if (chosen && !playing) choose(chosen);
    };
    const stop = () => {
      clearInterval(playing);
      playing = 0;
      play.textContent = "Play";
      output.setAttribute("aria-live", "polite");
      show(step);
    };
    play.hidden = calm;  // who wants no motion has the slider
    play.addEventListener("click", () => {
      if (playing) return stop();
      if (step === at.length - 1) show(0);
      output.setAttribute("aria-live", "off");  // nobody can listen so fast
      play.textContent = "Stop";
      playing = setInterval(() => (step + 1 < at.length ? show(step + 1) : stop()), 110);
    });
    slider.max = at.length - 1;
    slider.addEventListener("input", () => { if (playing) stop(); show(Number(slider.value)); });
    for (const cell of cells) {
      cell.group.addEventListener("pointerenter", () => choose(cell));
      cell.group.addEventListener("pointerdown", () => choose(cell));
    }
    box.tabIndex = 0;
    box.setAttribute("role", "group");
    box.setAttribute("aria-label", "Parts of the cut; arrow keys choose one");
    box.addEventListener("keydown", (event) => {
      const move = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
      if (!move) return;
      event.preventDefault();
      const row = Math.min(rows - 1, Math.max(0, (chosen ? chosen.row : 0) + (chosen ? move[0] : 0)));
      const column = Math.min(series.columns - 1, Math.max(0, (chosen ? chosen.column : 0) + (chosen ? move[1] : 0)));
      choose(cells.find((cell) => cell.row === row && cell.column === column));
    });
    figure.querySelector(".still").hidden = true;
    live.hidden = false;
    show(step);
  }

  // --- the two ways it is told -------------------------------------------------------------------------------

  const buttons = [...document.querySelectorAll("[data-reading]")];
  const tell = (reading) => {
    document.body.dataset.told = reading;
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.dataset.reading === reading));
  };
  const follow = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (location.hash === "#plain") tell("plain");
    else if (target && target.closest("#full, #evidence")) {
      const hidden = document.body.dataset.told === "plain";
      tell("full");
      if (hidden) target.scrollIntoView();
    } else if (!document.body.dataset.told) tell("full");
  };
  for (const button of buttons) {
    button.addEventListener("click", () => {
      tell(button.dataset.reading);
      history.replaceState(null, "", `#${button.dataset.reading}`);
    });
  }
  document.querySelector(".switch").hidden = false;
  addEventListener("hashchange", follow);
  addEventListener("keydown", (event) => {
    if (event.key === "Escape" && document.querySelector(".photo:target")) location.hash = "photos";
  });
  follow();
})();
