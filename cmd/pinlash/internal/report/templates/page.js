"use strict";
// Sorts tables by the column whose head is pressed, and opens everything for
// print. The page is whole without it.
(function () {
  function key(row, column) {
    var cell = row.cells[column], text = cell.getAttribute("data-sort");
    if (text === null) text = cell.textContent.trim();
    return text;
  }
  function compare(a, b) {
    var x = Number(a), y = Number(b);
    if (a === "" || b === "") return (a === "") - (b === "");
    if (!isNaN(x) && !isNaN(y)) return x - y;
    return a.localeCompare(b, undefined, { numeric: true });
  }
  function sort(table, head, column) {
    var up = head.getAttribute("aria-sort") !== "ascending";
    var body = table.tBodies[0];
    var rows = Array.prototype.slice.call(body.rows).map(function (row, i) {
      return { row: row, key: key(row, column), at: i };
    });
    rows.sort(function (a, b) {
      if (a.key === "" || b.key === "") return compare(a.key, b.key) || a.at - b.at;
      return (up ? 1 : -1) * compare(a.key, b.key) || a.at - b.at;
    });
    rows.forEach(function (r) { body.appendChild(r.row); });
    Array.prototype.forEach.call(head.parentNode.cells, function (th) { th.removeAttribute("aria-sort"); });
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
  }
  Array.prototype.forEach.call(document.querySelectorAll("table.sort"), function (table) {
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      while (head.firstChild) button.appendChild(head.firstChild);
      head.appendChild(button);
      button.addEventListener("click", function () { sort(table, head, column); });
    });
  });
  // A link to a closed photo opens it.
  function reveal() {
    var at = location.hash && document.getElementById(location.hash.slice(1));
    if (at && at.tagName === "DETAILS") { at.open = true; at.scrollIntoView(); }
  }
  window.addEventListener("hashchange", reveal);
  reveal();
  var closed = [];
  window.addEventListener("beforeprint", function () {
    closed = Array.prototype.slice.call(document.querySelectorAll("details:not([open])"));
    closed.forEach(function (d) { d.open = true; });
  });
  window.addEventListener("afterprint", function () {
    closed.forEach(function (d) { d.open = false; });
    closed = [];
  });
})();
