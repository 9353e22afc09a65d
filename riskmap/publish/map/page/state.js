/* What is shown now, and who must know when it changes. */
(function (county) {
  "use strict";
  const listeners = {};

  county.on = function (event, listener) {
    (listeners[event] = listeners[event] || []).push(listener);
  };
  county.tell = function (event, detail) {
    (listeners[event] || []).forEach((listener) => listener(detail));
  };

  county.state = { show: "priority", parcel: -1, filters: {}, selected: null };
  county.element = (id) => document.getElementById(id);

  /* Makes an element with text, never markup. */
  county.make = function (tag, className, text) {
    const element = document.createElement(tag);
    if (className) element.className = className;
    if (text !== undefined) element.textContent = text;
    return element;
  };

  county.plural = (count, one, many) =>
    count.toLocaleString("en-US") + " " + (count === 1 ? one : many);

  county.announce = function (text) {
    county.element("spoken").textContent = text;
  };

  county.saveFile = function (name, type, text) {
    const link = county.make("a");
    link.href = URL.createObjectURL(new Blob([text], { type: type }));
    link.download = name;
    document.body.appendChild(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 2000);
    county.lastSaved = { name: name, text: text };
  };
})(window.county);
