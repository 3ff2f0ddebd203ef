// What the linter holds the scripts of the pages to. The phone's parts are one script in its page: it is linted as that.
import js from "@eslint/js";
import globals from "globals";

const rules = {
  ...js.configs.recommended.rules,
  "no-var": "error",
  "prefer-const": "error",
  eqeqeq: "error",
  "no-implicit-globals": "error",
  "no-eval": "error",
  "no-implied-eval": "error",
  "no-new-func": "error",
  "no-throw-literal": "off", // a form's fault is thrown with its field
  "no-shadow-restricted-names": "error",
  "no-use-before-define": ["error", { functions: false, variables: false }],
  "no-unused-vars": ["error", { argsIgnorePattern: "^_", varsIgnorePattern: "^_", caughtErrors: "none" }],
};

export default [
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  { ignores: ["**/leaflet.js", "**/node_modules/"] },
  {
    files: ["**/*.js"],
    languageOptions: { ecmaVersion: 2024, sourceType: "module", globals: { ...globals.browser, L: "readonly" } },
    rules: { ...rules, "no-implicit-globals": "off" },
  },
  { files: ["**/worker.js"], languageOptions: { sourceType: "script", globals: globals.serviceworker }, rules },
  { files: ["**/phone.js"], languageOptions: { sourceType: "script" }, rules: { ...rules, "no-implicit-globals": "off" } },
]; 
