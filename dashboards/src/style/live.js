// Keeps #now current from /live. The page is whole without this script; it only saves the reload.
"use strict";
(() => {
  const now = document.getElementById("now");
  const stale = document.getElementById("stale");
  if (!now || !stale || !("EventSource" in window)) return;

  const replace = (fragment) => {
    // What a person has opened or stands on stays so across the change.
    const open = [...now.querySelectorAll("details[open]")].map((each) => each.id);
    const focus = document.activeElement?.closest("#now details")?.id;
    now.innerHTML = fragment;
    for (const id of open) document.getElementById(id)?.setAttribute("open", "");
    if (focus) document.getElementById(focus)?.querySelector("summary")?.focus();
    const headline = [".over", ".unknown", ".watch", ".calm"]
      .map((tone) => now.querySelector(`${tone} .headline`)).find((found) => found);
    if (headline) document.title = `${headline.textContent} · dwellwatch`;
  };

  const live = new EventSource("/live");
  live.addEventListener("open", () => { stale.hidden = true; });
  live.addEventListener("message", (event) => { stale.hidden = true; replace(event.data); });
  live.addEventListener("error", () => { stale.hidden = false; });
})();
