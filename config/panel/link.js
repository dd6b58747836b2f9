// How does the page reach the broker? One client object a connection, so that nothing is ever sent again later: an order
// that could not be sent at once is not sent at all.

"use strict";
const Links = (() => {
  const { word } = Orders;

  const KEEPALIVE_S = 5;
  const AGAIN_MS = 2000;
  const NOT_AUTHORIZED = 135;
  const HEARD = ["status", "online", "event", "history", "startable", "reply"];

  class Link {
    constructor(door, on) {
      Object.assign(this, { door, on, client: null, timer: 0, ended: false, wasUp: false });
      this.open();
    }

    open() {
      const { url, user, password, prefix } = this.door;
      const client = mqtt.connect(url, {
        protocolVersion: 5, clientId: `panel-${word(6)}`, clean: true, keepalive: KEEPALIVE_S, connectTimeout: 5000,
        reconnectPeriod: 0, username: user || undefined, password: user ? password : undefined,
      });
      this.client = client;
      client.on("connect", () => {
        this.wasUp = true;
        client.subscribe(HEARD.map((part) => `${prefix}/+/${part}`), { qos: 1 }, () => this.on.up());
      });
      client.on("message", (topic, payload, packet) => {
        const [tun, part] = topic.slice(prefix.length + 1).split("/");
        this.on.message(tun, part, payload, packet.retain);
      });
      client.on("error", (error) => this.lost(client, error));
      client.on("close", () => this.lost(client));
    }

    lost(client, error) {
      if (client !== this.client) return;
      this.client = null;
      client.end(true);
      const refused = error && (error.code === 134 || error.code === NOT_AUTHORIZED);
      this.on.down(refused ? "The broker refuses this user or password." : "The broker does not answer.", refused && !this.wasUp);
      if (!this.ended && !(refused && !this.wasUp)) this.timer = setTimeout(() => this.open(), AGAIN_MS);
    }

    // Resolves when the broker has taken it; rejects with a sentence.
    send(tun, part, text) {
      const client = this.client;
      if (!client || !client.connected) return Promise.reject(new Error("Not sent: the broker does not answer."));
      const options = { qos: 1, properties: { messageExpiryInterval: 10 } };
      return new Promise((done, fail) => {
        const limit = setTimeout(() => fail(new Error("Perhaps not sent: the broker did not confirm within 4 s.")), 4000);
        client.publish(`${this.door.prefix}/${tun}/${part}`, text, options, (error) => {
          clearTimeout(limit);
          if (!error) done();
          else if (error.code === NOT_AUTHORIZED) fail(new Error("Refused by the broker: this user may look, but not give orders."));
          else fail(new Error(`Not sent: ${error.message}`));
        });
      });
    }

    end() {
      this.ended = true;
      clearTimeout(this.timer);
      const client = this.client;
      this.client = null;
      if (client) client.end(true);
    }
  }
  return { Link };
})();
