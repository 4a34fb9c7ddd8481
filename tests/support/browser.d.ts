// What the browser has that the checker's own list of it lacks, or knows less of. Read by deno.json.

// Ours are pages of HTML: what is looked up is an HTML element, unless the place that looks says more.
interface ParentNode {
  querySelector<K extends keyof HTMLElementTagNameMap>(selectors: K): HTMLElementTagNameMap[K] | null;
  querySelector<E extends Element = HTMLElement>(selectors: string): E | null;
  querySelectorAll<K extends keyof HTMLElementTagNameMap>(selectors: K): NodeListOf<HTMLElementTagNameMap[K]>;
  querySelectorAll<E extends Element = HTMLElement>(selectors: string): NodeListOf<E>;
}

interface HTMLFormControlsCollection {
  readonly [name: string]: any; // a form's fields by their names
}

// A service worker's world (static/offline/sw.js); the service writes BUILD above the script.
declare const BUILD: { version: string; keeps: string[] };
declare const clients: { claim(): Promise<void> };
declare function skipWaiting(): Promise<void>;
interface ExtendableEvent extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface FetchEvent extends ExtendableEvent {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface WindowEventMap {
  install: ExtendableEvent;
  activate: ExtendableEvent;
  fetch: FetchEvent;
}

// Not in every browser: each use asks for it first.
declare class BarcodeDetector {
  constructor(options: { formats: string[] });
  static getSupportedFormats(): Promise<string[]>;
  detect(image: CanvasImageSource): Promise<{ rawValue: string }[]>;
}
interface MediaTrackCapabilities {
  torch?: boolean;
}
interface MediaTrackConstraintSet {
  torch?: boolean;
}
