//! The host against guests that behave and guests that do not, and against peers on a real socket.

mod cuts;
mod guest;
mod heat;
mod hostile;
mod lines;
mod log;
mod peer;
mod refusals;
mod shop;
mod steps;
