// Says what is wrong with HTML files, a line each; nothing if nothing is. Asks a parser by the WHATWG's standard (parse5) and
// a checker of what may stand in what (html-validate). The first argument is the folder that holds the two.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const [modules, ...files] = process.argv.slice(2);
const require = createRequire(`${modules}/`);
const { HtmlValidate } = require("html-validate");
const { parse } = await import(`${modules}/parse5/dist/index.js`);

const rules = new HtmlValidate({ root: true, extends: ["html-validate:standard"] });
for (const file of files) {
  const text = readFileSync(file, "utf8");
  const found = [];
  const onParseError = (error) => found.push(`${error.startLine}:${error.startCol} ${error.code}`);
  parse(text, { sourceCodeLocationInfo: true, onParseError });
  const report = await rules.validateString(text);
  for (const { messages } of report.results) {
    for (const { line, column, ruleId, message } of messages) found.push(`${line}:${column} ${ruleId}: ${message}`);
  }
  for (const each of found) console.log(`${file}:${each}`);
}
