// Sends photos one by one, tries again where the network drops, and shows each answer as it comes.
// Without it the form sends them all at once, and the answers are one page.
"use strict";
(() => {
  const form = document.getElementById("send");
  const progress = document.getElementById("progress");
  const answers = document.getElementById("answers");
  if (!form || !window.DOMParser || !window.fetch) return;
  const WAITS = [1, 2, 4, 8, 15, 30, 30, 30]; // seconds between tries: three minutes of no network
  const button = form.querySelector("button");
  const say = (text, places = {}) => {
    progress.textContent = text.replace(/\{(\w+)\}/g, (_, name) => places[name] ?? "");
  };
  const pause = seconds => new Promise(done => setTimeout(done, 1000 * seconds));

  async function sent(file, places) {
    const data = new FormData(form);
    data.delete("photos");
    data.set("before", "");
    data.append("photos", file, file.name);
    data.set("once", `${form.elements.once.value}.${crypto.getRandomValues(new Uint32Array(2)).join("")}`);
    for (const wait of [...WAITS, null]) {
      try {
        say(progress.dataset.sending, places);
        const answer = await fetch(form.action, { method: "POST", body: data });
        return new DOMParser().parseFromString(await answer.text(), "text/html");
      } catch (error) {
        if (wait === null) throw error;
        say(progress.dataset.waiting, places);
        await pause(wait);
      }
    }
  }

  async function send(files) {
    button.disabled = true;
    let number = 0;
    const refused = [];
    for (const file of files) {
      number += 1;
      const page = await sent(file, { number, count: files.length, name: file.name });
      const found = [...page.querySelectorAll("article.answer")].pop();
      if (found) {
        form.elements.before.value += `,${found.id.replace("photo-", "")}`;
        answers.append(document.importNode(found, true));
      } else {
        const why = page.querySelector(".errors") ?? page.querySelector("[role=status]");
        refused.push(`${file.name}: ${why ? why.textContent.trim() : ""}`);
      }
    }
    const all = form.elements.before.value.split(",").filter(Boolean);
    if (all.length && !refused.length) {
      location.assign(`/photograph/seen?photos=${all.join(",")}`);
      return;
    }
    say(refused.join(" "));
    button.disabled = false;
    if (all.length) {
      const link = document.createElement("a");
      link.className = "act";
      link.href = `/photograph/seen?photos=${all.join(",")}`;
      link.textContent = progress.dataset.refused;
      progress.append(" ", link);
    }
  }

  const go = event => {
    event.preventDefault();
    const files = [...form.querySelectorAll("input[type=file]")].flatMap(each => [...each.files]);
    if (files.length) send(files).catch(() => { button.disabled = false; });
  };
  form.addEventListener("submit", go);
  form.addEventListener("change", event => { if (event.target.type === "file") go(event); });
})();
