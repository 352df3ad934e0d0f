//! The host against guests that behave and guests that do not, and against peers on a real socket.
