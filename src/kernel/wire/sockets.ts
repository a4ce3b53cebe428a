import { Publisher, Router } from "zeromq";
import { type Connection, endpoint, type SocketName } from "./connection.js";

/** Larger frames are refused: the peer is cut off, nobody else notices. */
const largestFrameBytes = 64 * 1024 * 1024;

export interface Sockets {
  readonly shell: Router;
  readonly control: Router;
  readonly stdin: Router;
  readonly iopub: Publisher;
  /** Sends back what it gets. A reply socket would wait for ever for a client that breaks off half-way. */
  readonly hb: Router;
}

/** Binds the five sockets where the connection says. Rejects when an address cannot be had. */
export async function bindSockets(connection: Connection): Promise<Sockets> {
  const common = { ipv6: connection.ip.includes(":"), linger: 1000, sendHighWaterMark: 0 };
  const router = () => new Router({ ...common, receiveHighWaterMark: 0, maxMessageSize: largestFrameBytes });
  const sockets: Sockets = {
    shell: router(),
    control: router(),
    stdin: router(),
    iopub: new Publisher({ ...common, maxMessageSize: 65_536 }),
    hb: new Router({ ...common, linger: 0, maxMessageSize: 65_536 }),
  };
  for (const name of Object.keys(sockets) as SocketName[]) await sockets[name].bind(endpoint(connection, name));
  return sockets;
}

/** Sends in order, one after the other: a socket takes one send at a time. */
export class Sender {
  readonly #socket: Router | Publisher;
  #last: Promise<void> = Promise.resolve();

  constructor(socket: Router | Publisher) {
    this.#socket = socket;
  }

  send(frames: Buffer[]): void {
    // A client that has gone away makes a send fail; the next one is for somebody else.
    this.#last = this.#last.then(() => this.#socket.send(frames)).catch(() => {});
  }

  /** Fulfilled when all is sent. */
  settled(): Promise<void> {
    return this.#last;
  }
}
