// On a phone the line of a study's pages is wider than the screen: this brings the name of the page that
// is open into sight.
(() => {
  "use strict";
  const here = document.querySelector("nav.study [aria-current]");
  const line = here?.closest("ul");
  if (!line) return;
  const place = here.getBoundingClientRect(), frame = line.getBoundingClientRect();
  line.scrollLeft += place.left + place.width / 2 - (frame.left + frame.width / 2);
})();
