// How far a round of looks is, while it goes on; the page does without.
"use strict";

(() => {
  const round = document.querySelector("#round[data-going]");
  if (!round) return;
  const told = document.getElementById("told"), said = document.getElementById("said"), bar = document.getElementById("share");
  let quarter = -1;
  const ask = async () => {
    try {
      const answer = await fetch("/api/fleet/round", { cache: "no-store" });
      if (!answer.ok) throw new Error(answer.statusText);
      const now = await answer.json();
      told.textContent = now.sentence;
      bar.value = now.share;
      if (!["running", "stopping"].includes(now.state)) return over(now);
      // Read out in steps of a quarter: nobody wants to hear each bin.
      if (Math.floor(4 * now.share) > quarter) {
        quarter = Math.floor(4 * now.share);
        said.textContent = now.sentence;
      }
    } catch {
      told.textContent = "The bin’s computer cannot be reached; asking again.";
    }
    setTimeout(ask, 1000);
  };
  const over = (now) => {
    if (now.state === "none") told.textContent = "The server began anew meanwhile; what had been seen is kept.";
    said.textContent = told.textContent;
    bar.hidden = true;
    document.getElementById("stop")?.closest("form").remove();
    // The list is not changed under the eyes of whoever reads it.
    const fresh = document.getElementById("fresh");
    fresh.textContent = "Show the new list";
    fresh.classList.add("main");
  };
  ask();
})();
