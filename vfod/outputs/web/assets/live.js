// The stream of the daemon's state: one for the page, shared by everything on it.
// The browser mends a broken stream by itself and says which event it saw last; where it gives up
// (an error status), a new one is opened.

const GIVE_UP = 35000; // more than two heartbeats of silence: the stream is dead, whatever it says
const AGAIN = 2000;

export function follow(onMessage, onConnection) {
  let source = null;
  let heard = 0;
  const open = () => {
    if (source) source.close();
    source = new EventSource("/events");
    heard = Date.now();
    source.onopen = () => { heard = Date.now(); onConnection(true); };
    source.onmessage = (event) => {
      heard = Date.now();
      onConnection(true);
      onMessage(JSON.parse(event.data));
    };
    source.onerror = () => {
      onConnection(false);
      if (source.readyState === EventSource.CLOSED) setTimeout(open, AGAIN);
    };
  };
  open();
  // A page that slept, or a network that went away without a word.
  setInterval(() => {
    if (source.readyState === EventSource.OPEN && Date.now() - heard > GIVE_UP) {
      onConnection(false);
      open();
    }
  }, 5000);
  window.addEventListener("online", open);
}

let number = 0;

// One request of the table; resolves to its result, rejects with the daemon's own sentence.
export async function ask(method, params = {}) {
  const body = JSON.stringify({ jsonrpc: "2.0", id: ++number, method, params });
  let answer;
  try {
    answer = await fetch("/rpc", {
      method: "POST", body, headers: { "content-type": "application/json" },
    });
  } catch {
    throw new Error("the daemon cannot be reached");
  }
  if (answer.status === 401) {
    location.assign("/login");
    throw new Error("a token is needed");
  }
  if (!answer.ok) throw new Error((await answer.text()).trim() || `refused (${answer.status})`);
  const said = await answer.json();
  if (said.error) throw new Error(said.error.message);
  return said.result;
}
