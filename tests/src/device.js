// A two-nozzle device that describes itself, served by @node-wot (not ours) from what our test tells it: a line of
// JSON, one member a property, replaces the values. Ends when its standard input does.
// Usage: NODE_PATH=… node device.js PORT [USER PASSWORD]
const { Servient } = require("@node-wot/core");
const { HttpServer } = require("@node-wot/binding-http");
const readline = require("node:readline");

const [port, username, password] = process.argv.slice(2);
const id = "urn:dev:bench:two-nozzles";
const scheme = username === undefined ? "nosec" : "basic";
const heat = (title) => ({ title, type: "number", unit: "Cel", readOnly: true });
const properties = {
  nozzle0: heat("Measured temperature of the left nozzle"),
  nozzle1: heat("Measured temperature of the right nozzle"),
  target0: heat("Target temperature of the left nozzle"),
  target1: heat("Target temperature of the right nozzle"),
  bed: heat("Measured temperature of the bed"),
  bedTarget: heat("Target temperature of the bed"),
  activeTool: { title: "Nozzle at work", type: "integer", minimum: 0, maximum: 1, readOnly: true },
  state: {
    title: "State of the job",
    type: "string",
    enum: ["idle", "heating", "printing", "paused", "complete", "cancelled", "failed"],
    readOnly: true,
  },
  file: { title: "File of the job", type: "string", readOnly: true },
  progress: { title: "Progress of the job", type: "number", unit: "%", minimum: 0, maximum: 100, readOnly: true },
};

(async () => {
  const lines = readline.createInterface({ input: process.stdin });
  const told = lines[Symbol.asyncIterator]();
  let values = JSON.parse((await told.next()).value);
  const servient = new Servient();
  // Without baseUri every address of the machine is described, and each is another host to a client.
  const server = { port: Number(port), address: "127.0.0.1", baseUri: `http://127.0.0.1:${port}` };
  if (scheme === "basic") {
    server.security = [{ scheme }];
    servient.addCredentials({ [id]: { username, password } });
  }
  servient.addServer(new HttpServer(server));
  const wot = await servient.start();
  const securityDefinitions = { entry: { scheme } };
  const thing = await wot.produce({ id, title: "two-nozzles", securityDefinitions, security: ["entry"], properties });
  for (const name of Object.keys(properties)) {
    thing.setPropertyReadHandler(name, async () => values[name]);
  }
  await thing.expose();
  console.log("serving");
  for await (const line of { [Symbol.asyncIterator]: () => told }) {
    values = JSON.parse(line);
  }
  process.exit(0);
})();
