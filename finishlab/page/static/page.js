// All pages read and work without this. It says when a page is old, sends a pairing key that a picture brought,
// and keeps a form from being sent twice by an impatient thumb.
"use strict";

const AGE_MS = 15000;

for (const form of document.querySelectorAll("form[data-go]")) form.requestSubmit();

const old = document.getElementById("old");
async function lookWhetherOld() {
  if (document.hidden || old.textContent) return;
  try {
    const answer = await fetch("/state", { headers: { accept: "application/json" } });
    if (!answer.ok) return;
    const { state } = await answer.json();
    if (String(state) === document.body.dataset.state) return;
    const again = document.createElement("a");
    again.href = location.pathname + location.search;
    again.textContent = old.dataset.link;
    old.append(old.dataset.text + " ", again);
  } catch {
    // The network is away; the page says as of when it is.
  }
}
if (old) {
  setInterval(lookWhetherOld, AGE_MS);
  document.addEventListener("visibilitychange", lookWhetherOld);
}

const AGAIN_MS = 15000;
function shut(buttons, closed) { for (const each of buttons) each.disabled = closed; }

document.addEventListener("submit", (event) => {
  // A form that only looks may be sent again: what it brings can be a file, and the page stays. The others are shut
  // after they have been read: a disabled button would not be sent with them. Where the network went away and the page
  // stayed, they open again: the same form counts once, however often it comes.
  if (event.target.method !== "post") return;
  const buttons = event.target.querySelectorAll("button");
  setTimeout(shut, 0, buttons, true);
  setTimeout(shut, AGAIN_MS, buttons, false);
});
// A page that comes back from the browser's own memory can be sent again.
window.addEventListener("pageshow", () => shut(document.querySelectorAll("button:disabled"), false));
