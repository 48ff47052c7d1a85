// A new study: suggests the time zone that this device is set to. It can be typed over, and without
// this script the field is simply empty.
(() => {
  "use strict";
  const field = document.getElementById("f-time_zone");
  if (!field || field.value) return;
  field.value = Intl.DateTimeFormat().resolvedOptions().timeZone || "";
})();
