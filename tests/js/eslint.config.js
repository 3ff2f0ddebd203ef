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
  "no-shadow-restricted-names": "error",
  "no-unused-vars": ["error", { argsIgnorePattern: "^_", varsIgnorePattern: "^_", caughtErrors: "none", ignoreRestSiblings: true }],
};

export default [
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  { files: ["desk/**/*.js"], languageOptions: { ecmaVersion: 2024, sourceType: "module", globals: { ...globals.browser, L: "readonly" } }, rules },
  { files: ["phone.js"], languageOptions: { ecmaVersion: 2024, sourceType: "script", globals: globals.browser }, rules: { ...rules, "no-implicit-globals": "off" } },
  { files: ["worker.js"], languageOptions: { ecmaVersion: 2024, sourceType: "script", globals: globals.serviceworker }, rules: { ...rules, "no-implicit-globals": "off" } },
];
