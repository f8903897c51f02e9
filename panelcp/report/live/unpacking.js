// Data that the page holds deflated and in base64.
//
// Panelcp.unpacked(base64) -> Promise of the bytes, an ArrayBuffer
// Panelcp.readText(base64) -> Promise of the text in UTF-8
(function () {
  "use strict";
  globalThis.Panelcp = globalThis.Panelcp || {};

  function bytesOf(base64) {
    const text = atob(base64.trim());
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    return bytes;
  }

  async function unpacked(base64) {
    if (typeof DecompressionStream === "undefined") {
      throw new Error("This browser cannot unpack the data of the page: it knows no " +
        "DecompressionStream. A browser from 2023 or later does.");
    }
    const stream = new Blob([bytesOf(base64)]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer();
  }

  async function readText(base64) {
    return new TextDecoder().decode(await unpacked(base64));
  }

  Object.assign(globalThis.Panelcp, { unpacked, readText });
})();
