//! The API's messages and services, generated from `hearthward/v1/*.proto`, and their descriptor set.
//!
//! Nothing is written by hand here. The `.proto` files are the contract: read them for what each field means. Conversions to and
//! from the inner types live in `hearthward-api` and nowhere else.

/// Version 1 of the API.
#[expect(
    clippy::allow_attributes,
    clippy::allow_attributes_without_reason,
    clippy::large_enum_variant,
    reason = "the code generator writes its own exceptions, and lays messages out as it does"
)]
pub mod v1 {
    tonic::include_proto!("hearthward.v1");
}

/// The encoded `google.protobuf.FileDescriptorSet` of the package and all that it imports, for reflection and for programs that
/// have no `.proto` files at hand.
pub const FILE_DESCRIPTOR_SET: &[u8] = tonic::include_file_descriptor_set!("descriptors");

/// The version of [`v1`]'s package, as it stands in every method's path.
pub const PACKAGE: &str = "hearthward.v1";
