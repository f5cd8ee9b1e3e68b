// Search where the pages are opened as files: browsers start no worker from a file, so that the worker's script
// runs in a hidden frame instead and messages pass between the two as they would otherwise.
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(address) {
      super();
      this.waiting = [];
      this.frame = document.createElement("iframe");
      this.frame.hidden = true;
      this.frame.title = "search";
      document.body.append(this.frame);
      const inner = this.frame.contentWindow;
      inner.document.open();
      inner.document.write("<!doctype html><html lang='en'><title>search</title></html>");
      inner.document.close();
      inner.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      const script = inner.document.createElement("script");
      script.src = address;
      script.onload = () => {
        const kept = this.waiting;
        this.waiting = null;
        kept.forEach((data) => this.postMessage(data));
      };
      script.onerror = () => this.dispatchEvent(new Event("error"));
      inner.document.documentElement.append(script);
    }

    postMessage(data) {
      if (this.waiting) {
        this.waiting.push(data);
        return;
      }
      const inner = this.frame.contentWindow;
      inner.dispatchEvent(new inner.MessageEvent("message", { data }));
    }

    terminate() {
      this.frame.remove();
    }
  };
}
