// The engineer's questions, in order.
export const PART = { id: "part", text: "What is the part?" };
export const TODAY = { id: "today", text: "How does it run today?" };
export const WAYS = { id: "ways", text: "What else is possible?" };
export const WHY = { id: "why", text: "Why this one?" };
export const ALLOWED = { id: "more", text: "What would allow one more?" };
export const START = { id: "start", text: "What does it need to start?" };

export const CAUTION =
  "Prove out single-block at reduced rapid. The machine builder's limits on speed, swing and clamping stand above these numbers. Guards closed, every clamp checked. Local codes and a qualified person decide.";
