// Composing an update: what the form holds is sent, the work is followed, and what was made is shown when it is done.
// The form itself is never made anew: what is typed meanwhile stays, also after an error, and in this tab over a reload.
"use strict";
(() => {
  const form = document.getElementById("compose");
  const told = form.querySelector(".told"), progress = form.querySelector("progress"), button = form.querySelector("button.main");
  const DRAFT = `update ${location.pathname} ${form.dataset.month}`;
  const PATIENCE = 20;  // questions without an answer before following is given up
  let working = false;

  class Unanswered extends Error {}

  // --- asking the server ------------------------------------------------------------------------------------
  async function fetched(path, body) {
    const options = { credentials: "same-origin", headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.method = "POST";
      options.headers["Content-Type"] = "application/json";
      options.headers["X-CSRF-Token"] = document.querySelector('meta[name="csrf"]').content;
      options.body = JSON.stringify(body);
    }
    let answer, said = {};
    try { answer = await fetch(path, options); } catch { throw new Unanswered("The server does not answer. What you wrote stays here; try again when it runs."); }
    try { said = await answer.json(); } catch { /* an answer without words */ }
    if (!answer.ok) throw Object.assign(new Error(said.error || "The server did not answer as it should; try again."), { at: said.at, status: answer.status });
    return said;
  }

  // --- what the form holds ----------------------------------------------------------------------------------
  const photos = [...form.querySelectorAll("[data-photo]")];
  const axis = (photo, name) => photo.querySelector(`[data-axis=${name}]`);
  const picked = (photo) => photo.querySelector("[type=checkbox]");

  function asked() {
    const words = {};
    for (const area of form.querySelectorAll("textarea")) if (area.value.trim()) words[area.dataset.section] = area.value;
    return {
      month: form.dataset.month, title: form.elements.title.value, keeper: form.elements.keeper.value,
      accent: form.elements.accent.value, words,
      photos: photos.filter((one) => picked(one).checked).map((one) => ({
        id: one.dataset.photo, x: axis(one, "x").valueAsNumber / 100, y: axis(one, "y").valueAsNumber / 100,
      })),
      formats: [...form.querySelectorAll("[name=format]:checked")].map((one) => one.value),
    };
  }

  function fill(draft) {
    for (const name of ["title", "keeper", "accent"]) form.elements[name].value = draft[name];
    for (const area of form.querySelectorAll("textarea")) area.value = draft.words[area.dataset.section] || "";
    if (Object.keys(draft.words).some((name) => name)) document.getElementById("beside").open = true;
    for (const photo of photos) {
      const kept = draft.photos.find((one) => one.id === photo.dataset.photo);
      picked(photo).checked = kept !== undefined;
      if (kept) point(photo, kept.x, kept.y);
    }
    for (const box of form.querySelectorAll("[name=format]")) box.checked = draft.formats.includes(box.value);
  }

  function draft(held) {  // a browser that keeps nothing only loses the draft
    try {
      if (held === null) sessionStorage.removeItem(DRAFT);
      else if (held) sessionStorage.setItem(DRAFT, JSON.stringify(held));
      else return JSON.parse(sessionStorage.getItem(DRAFT));
    } catch { /* so be it */ }
    return null;
  }

  // --- the point of a photo that stays in sight -------------------------------------------------------------
  function mark(photo) {
    const spot = photo.querySelector(".point");
    spot.style.left = `${axis(photo, "x").value}%`;
    spot.style.top = `${axis(photo, "y").value}%`;
    spot.hidden = false;
    for (const slider of photo.querySelectorAll("[data-axis]")) slider.closest("div").querySelector("output").textContent = slider.value;
  }

  function point(photo, x, y) {
    axis(photo, "x").value = Math.round(100 * Math.min(1, Math.max(0, x)));
    axis(photo, "y").value = Math.round(100 * Math.min(1, Math.max(0, y)));
    mark(photo);
  }

  for (const photo of photos) {
    mark(photo);
    photo.querySelector(".framed").addEventListener("click", (event) => {
      const box = photo.querySelector("img").getBoundingClientRect();
      point(photo, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
      draft(asked());
    });
  }

  // --- what is wrong, where it is ---------------------------------------------------------------------------
  function settle() {
    form.querySelector(".wrong")?.remove();
    for (const field of form.querySelectorAll("[aria-invalid]")) {
      field.removeAttribute("aria-invalid");
      field.setAttribute("aria-describedby", field.id === "words-opening" ? "words-hint" : "");
    }
  }

  function place(at) {
    if (!at) return null;
    if (at.startsWith("words.")) return [...form.querySelectorAll("textarea")].find((one) => one.dataset.section === at.slice(6));
    return document.getElementById(at);
  }

  function wrong(sentence, at) {
    settle();
    const field = place(at), said = document.createElement("p");
    said.className = "alarm wrong";
    said.id = "wrong";
    said.textContent = sentence;
    if (!field) return told.replaceChildren(said);
    told.textContent = "";
    const input = field.matches("fieldset") ? field.querySelector("input") : field;
    if (field === input) field.after(said);
    else field.querySelector("legend").after(said);
    if (field.closest("details")) field.closest("details").open = true;
    input.setAttribute("aria-invalid", "true");
    input.setAttribute("aria-describedby", "wrong");
    input.focus();
    said.scrollIntoView({ block: "nearest" });
  }

  // --- the work ---------------------------------------------------------------------------------------------
  const wait = (ms) => new Promise((go) => setTimeout(go, ms));

  async function over(job) {
    let pause = 400, quarter = -1, vain = 0;
    for (;;) {
      try {
        const now = await fetched(`/api/jobs/${encodeURIComponent(job)}`);
        if (vain) quarter = -1;  // it answers again, which is worth saying
        vain = 0;
        progress.value = now.progress;
        if (now.state === "waiting") told.textContent = "Waiting for other work to end.";
        else if (Math.floor(now.progress * 4) > quarter) {  // read aloud now and then, not at every step
          quarter = Math.floor(now.progress * 4);
          told.textContent = `Making it: ${25 * quarter} % done or more. This page can be used meanwhile.`;
        }
        if (now.state === "done") return;
        if (now.state === "refused" || now.state === "failed") throw new Error(now.error);
      } catch (error) {
        if (error.status === 404) throw new Error("The server was started anew, and the work ended with it; make it again.");
        if (!(error instanceof Unanswered) || ++vain === PATIENCE) throw error;
        told.textContent = "The server does not answer; it is asked again.";
      }
      await wait(pause);
      pause = Math.min(pause * 1.3, 2000);
    }
  }

  async function shown() {  // what was made, and nothing of the form
    const answer = await fetch(`${location.pathname}?month=${form.dataset.month}`, { credentials: "same-origin" });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("made");
    if (!fresh) return location.reload();
    document.getElementById("made").replaceWith(document.adoptNode(fresh));
    form.querySelector("h2").textContent = "Make it anew";
  }

  async function follow(job, sent) {
    await over(job);
    await shown();
    if (sent && JSON.stringify(asked()) === JSON.stringify(sent)) draft(null);
    const link = document.createElement("a");
    link.href = "#made";
    link.textContent = "See it above.";
    told.replaceChildren("It is made. ", link);
    if (!document.activeElement?.matches("input, textarea")) document.getElementById("made-title").focus();
  }

  async function work(begin) {
    working = true;
    button.setAttribute("aria-disabled", "true");
    progress.hidden = false;
    settle();
    try { await begin(); } catch (error) { wrong(error.message, error.at); }
    finally {
      working = false;
      progress.hidden = true;
      button.removeAttribute("aria-disabled");
    }
  }

  form.addEventListener("input", (event) => {
    if (event.target.matches("[data-axis]")) mark(event.target.closest("[data-photo]"));
    draft(asked());
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (working) return;
    const body = asked(), most = Number(form.dataset.most);
    if (!body.formats.length) return wrong("Choose at least one thing to make.", "formats");
    if (body.photos.length > most) return wrong(`These are ${body.photos.length} photos, and ${most} is the most: leave some out.`, "photos");
    progress.value = 0;
    told.textContent = "It is asked for.";
    work(async () => follow((await fetched(form.dataset.api, body)).id, body));
  });

  const held = draft();
  if (held) {
    fill(held);
    if (!form.dataset.job && !told.textContent.trim()) told.textContent = "What you wrote before is still here, and not made yet.";
  }
  if (form.dataset.job) work(() => follow(form.dataset.job, held));
})();
