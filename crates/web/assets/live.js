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
  const QUIET_MS = 4000;
  let [after, source, wait, timer, busy, sending, fading, trying, touched] = [head, null, FIRST_WAIT_MS, 0, false, false, 0, 0, Date.now()];

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
  const isInUse = () => {
    const field = document.activeElement;
    const inField = field && /^(INPUT|TEXTAREA|SELECT)$/.test(field.tagName);
    const looking = document.querySelector("svg.closer") || !(window.getSelection()?.isCollapsed ?? true);
    return Boolean(inField || looking || Date.now() - touched < QUIET_MS) || forms(document).some(isTyped);
  };
  // The same thing on a page made anew: by its id, or as the n-th of those that look alike.
  const looks = (one) => `${one.tagName} ${one.getAttribute("href") ?? one.getAttribute("name") ?? ""} ${one.textContent}`;
  const again = (one, root, fresh) => {
    if (one.id) return fresh.querySelector(`#${CSS.escape(one.id)}`);
    const alike = (all) => [...all.querySelectorAll(one.tagName)].filter((other) => looks(other) === looks(one));
    return alike(fresh)[alike(root).indexOf(one)];
  };

  // The signs of shut gates in a form that stays are those of now.
  const renewSigns = (own, fresh) => {
    for (const sign of own.querySelectorAll(".shut-gate")) sign.remove();
    const below = own.querySelector("[name=token]");
    for (const sign of fresh.querySelectorAll(".shut-gate")) own.insertBefore(sign, below?.parentNode === own ? below : null);
  };

  const bringIn = (fresh, asked) => {
    const old = document.getElementById("main");
    const [x, y, focus] = [window.scrollX, window.scrollY, document.activeElement];
    const caret = focus && typeof focus.selectionStart === "number" ? [focus.selectionStart, focus.selectionEnd] : null;
    const open = [...old.querySelectorAll("details > summary")].map((one) => [again(one, old, fresh), one.parentNode.open]);
    const next = old.contains(focus) ? again(focus, old, fresh) : null;
    if (!asked && old.contains(focus) && !next) return false;
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
    for (const [summary, was] of open) {
      if (summary?.isConnected === false && summary.parentNode) summary.parentNode.open = was;
    }
    const outside = !old.contains(focus) && !fresh.contains(focus);
    old.replaceWith(fresh);
    const found = outside ? null : focus.isConnected ? focus : next;
    if (found) {
      found.focus({ preventScroll: true });
      if (caret && found === focus) found.setSelectionRange(...caret);
    }
    window.scrollTo(x, y);
    document.dispatchEvent(new Event("fresh-page"));
    return true;
  };

  const renew = async (asked) => {
    if (busy) return;
    busy = true;
    try {
      const own = new URL(here, window.location.href);
      const answer = await fetch(window.location.pathname === own.pathname ? window.location.href : own, { cache: "no-store" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("main");
      const right = answer.ok && !answer.redirected && fresh && !sending && (asked || !isInUse());
      if (right && bringIn(document.adoptNode(fresh), asked)) {
        after = page.body.dataset.head ?? after;
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

  // As soon as nobody has touched the page for a while and nothing is typed in it.
  const attempt = () => {
    clearTimeout(trying);
    if (bar.hidden || show.hidden || !source) return;
    if (!sending && !isInUse()) renew(false);
    trying = setTimeout(attempt, 1000);
  };

  const told = (event) => {
    if (event.lastEventId) after = event.lastEventId;
    clearTimeout(fading);
    bar.hidden = false;
    show.hidden = false;
    // Words that change in sight are read out.
    setTimeout(() => (said.textContent = event.data), 50);
    attempt();
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

  // Nothing moves away under a hand.
  for (const name of ["pointerdown", "pointermove", "keydown", "wheel", "scroll", "focusin"]) {
    document.addEventListener(name, () => (touched = Date.now()), { capture: true, passive: true });
  }
  show.addEventListener("click", () => renew(true));
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
