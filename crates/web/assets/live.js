// When somebody records something that concerns this page, a bar says so. Where nothing is being typed, the page is brought up to
// date by itself; what is typed, chosen or read stays where it is. A page in the background does nothing.
(() => {
  "use strict";
  const { head, here } = document.body.dataset;
  const bar = document.getElementById("live");
  if (!head || !here || !bar || !window.EventSource) return;
  const [said, show, later] = [bar.querySelector(".live-said"), ...bar.querySelectorAll("button")];
  const FIRST_WAIT_MS = 5000;
  const LONGEST_WAIT_MS = 120000;
  const SAID_MS = 20000;
  let [after, source, wait, timer, busy, sending, fading] = [head, null, FIRST_WAIT_MS, 0, false, false, 0];

  const forms = (root) => [...root.querySelectorAll("form[method=post]")];
  const place = (form) => `${form.getAttribute("action")} ${form.dataset.form ?? ""}`;
  const typed = (field) => {
    if (field.type === "file") return field.files.length > 0;
    if (/^(checkbox|radio)$/.test(field.type)) return field.checked !== field.defaultChecked;
    if (field.options) {
      const chosen = [...field.options].findIndex((option) => option.defaultSelected);
      return field.selectedIndex !== Math.max(chosen, 0);
    }
    return field.type !== "hidden" && "defaultValue" in field && field.value !== field.defaultValue;
  };
  const isTyped = (form) =>
    Boolean(form.querySelector(".problems, .question")) || [...form.elements].some((field) => field.name && typed(field));
  const isBusyWith = () => {
    const field = document.activeElement;
    const inField = field && /^(INPUT|TEXTAREA|SELECT)$/.test(field.tagName) && field.closest("form");
    return Boolean(inField) || forms(document).some(isTyped);
  };

  // The signs of shut gates in a form that stays are those of now.
  const renewSigns = (own, fresh) => {
    for (const sign of own.querySelectorAll(".shut-gate")) sign.remove();
    const below = own.querySelector("[name=token]");
    for (const sign of fresh.querySelectorAll(".shut-gate")) own.insertBefore(sign, below?.parentNode === own ? below : null);
  };

  const bringIn = (fresh) => {
    const old = document.getElementById("main");
    const [x, y, focus] = [window.scrollX, window.scrollY, document.activeElement];
    const caret = focus && typeof focus.selectionStart === "number" ? [focus.selectionStart, focus.selectionEnd] : null;
    const open = new Map([...old.querySelectorAll("details")].map((one) => [one.querySelector("summary")?.textContent, one.open]));
    for (const own of forms(old)) {
      const same = forms(fresh).find((form) => place(form) === place(own));
      if (!isTyped(own)) continue;
      if (same) {
        renewSigns(own, same);
        same.replaceWith(own);
      } else {
        fresh.prepend(own);
      }
    }
    for (const one of fresh.querySelectorAll("details")) {
      const was = open.get(one.querySelector("summary")?.textContent);
      if (was !== undefined) one.open = was;
    }
    const id = focus?.id;
    old.replaceWith(fresh);
    const again = focus?.isConnected ? focus : id && document.getElementById(id);
    if (again && again !== document.body) {
      again.focus({ preventScroll: true });
      if (caret && again === focus) again.setSelectionRange(...caret);
    }
    window.scrollTo(x, y);
    document.dispatchEvent(new Event("fresh-page"));
  };

  const renew = async () => {
    if (busy) return;
    busy = true;
    try {
      const own = new URL(here, window.location.href);
      const answer = await fetch(window.location.pathname === own.pathname ? window.location.href : own, { cache: "no-store" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("main");
      if (answer.ok && !answer.redirected && fresh && !sending) {
        after = page.body.dataset.head ?? after;
        bringIn(document.adoptNode(fresh));
        // The page shows it now: the words may go after they could be read.
        show.hidden = true;
        fading = setTimeout(() => (bar.hidden = true), SAID_MS);
      }
    } catch {
      // No connection: the bar stays, and the button can be pressed again.
    } finally {
      busy = false;
    }
  };

  const told = (event) => {
    if (event.lastEventId) after = event.lastEventId;
    clearTimeout(fading);
    bar.hidden = false;
    show.hidden = false;
    // Words that change in sight are read out.
    setTimeout(() => (said.textContent = event.data), 50);
    if (!sending && !isBusyWith()) renew();
  };

  const stop = () => {
    clearTimeout(timer);
    source?.close();
    source = null;
  };
  const start = () => {
    if (source || document.visibilityState !== "visible") return;
    const own = new EventSource(`/events?after=${after}&page=${encodeURIComponent(here)}`);
    source = own;
    own.addEventListener("open", () => (wait = FIRST_WAIT_MS));
    own.addEventListener("message", told);
    own.addEventListener("error", () => {
      // The browser asks again by itself unless it was refused.
      if (own.readyState !== EventSource.CLOSED || source !== own) return;
      stop();
      timer = setTimeout(start, wait);
      wait = Math.min(2 * wait, LONGEST_WAIT_MS);
    });
  };

  show.addEventListener("click", renew);
  later.addEventListener("click", () => (bar.hidden = true));
  document.addEventListener("submit", () => (sending = true));
  document.addEventListener("visibilitychange", () => (document.visibilityState === "visible" ? start() : stop()));
  window.addEventListener("pagehide", stop);
  window.addEventListener("pageshow", () => {
    sending = false;
    start();
  });
  start();
})();
