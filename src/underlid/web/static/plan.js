// Claims are filtered as one types, and a plan that is simulated is asked after until it is done. All of it works without.
"use strict";

(() => {
  const box = document.querySelector(".filter");
  if (!box) return;
  const field = box.querySelector("input");
  const found = document.getElementById("found");
  const claims = [...document.querySelectorAll("[data-words]")];
  const plain = (words) => words.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
  const show = () => {
    const asked = plain(field.value).split(/\s+/).filter(Boolean);
    let many = 0;
    for (const claim of claims) {
      const words = plain(claim.dataset.words);
      claim.hidden = !asked.every((word) => words.includes(word));
      many += claim.hidden ? 0 : 1;
    }
    for (const topic of document.querySelectorAll(".topic")) topic.hidden = !topic.querySelector("li:not([hidden])");
    found.textContent = asked.length ? `${many} of ${claims.length} claims` : "";
  };
  box.hidden = false;
  field.addEventListener("input", show);
  show();
})();

(() => {
  const status = document.getElementById("job");
  if (!status) return;
  const bar = document.getElementById("done");
  let told = -1;
  const ask = async () => {
    try {
      const answer = await fetch(`/api/jobs/${encodeURIComponent(status.dataset.job)}`, { cache: "no-store" });
      if (!answer.ok) return location.reload();
      const job = await answer.json();
      if (["done", "refused", "failed"].includes(job.state)) return location.reload();
      const share = Math.round(100 * (job.progress || 0));
      bar.value = share;
      // Read out in steps of a quarter: nobody wants to hear each per cent.
      if (Math.floor(share / 25) > told) {
        told = Math.floor(share / 25);
        status.textContent = job.state === "waiting" ? "Waiting for other work to end …" : `Simulating whole trials of your plan: ${share} % done`;
      }
    } catch {
      status.textContent = "The server cannot be reached; asking again.";
    }
    setTimeout(ask, 700);
  };
  ask();
})();
