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

  /* A number as everywhere: a comma at the thousands, no decimals from 100 on. */
  county.figure = function (number, decimals, grouped) {
    const places = Math.abs(number) >= 100 ? 0 : decimals || 0;
    return number.toLocaleString("en-US",
      { minimumFractionDigits: places, maximumFractionDigits: places, useGrouping: grouped !== false });
  };
  county.withUnit = (text, unit, one) =>
    unit === "%" ? text + "%" : unit ? text + "\u00a0" + (one && text === "1" ? one : unit) : text;

  county.plural = (count, one, many) =>
    county.figure(count) + " " + (count === 1 ? one : many);

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
