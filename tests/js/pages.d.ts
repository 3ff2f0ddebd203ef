// What the type checker cannot see: which element stands in a page under a name is said by its HTML, and by nothing in the scripts.
// An element that is looked up is therefore of any kind; all else is checked.
interface Document {
  getElementById(id: string): any;
  addEventListener(type: string, listener: (event: any) => any, options?: any): void;
}
interface ParentNode {
  querySelector(selectors: string): any;
  querySelectorAll(selectors: string): NodeListOf<any>;
}
interface Element {
  closest(selectors: string): any;
}
interface Window {
  map_block: any; // made by the frame of the map
  trunkwatch_field: object;
  webkitAudioContext: typeof AudioContext;
}
declare const L: any; // Leaflet, which has no types here
