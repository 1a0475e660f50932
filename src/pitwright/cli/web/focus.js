// The first key must reach the app without a click into the page.
window.addEventListener("load", () => {
  const waiting = setInterval(() => {
    const entry = document.querySelector(".xterm-helper-textarea");
    if (entry) {
      clearInterval(waiting);
      entry.focus();
    }
  }, 50);
});
