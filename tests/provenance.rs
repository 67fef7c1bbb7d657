//! Every table and golden file says where it comes from.
