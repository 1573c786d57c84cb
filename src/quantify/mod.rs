//! quantify
