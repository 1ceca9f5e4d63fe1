//! The potential against closed forms.

mod exact;
mod shapes;
