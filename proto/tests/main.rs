//! The contract is a checked-in text: a change of the `.proto` files shows in review as a change of `descriptor.txt`.

fn main() {}
