//! What tests share: builders of views, jobs and pictures, truths of synthetic cases, the program's servers and a client.
pub mod boxes;
pub mod chance;
pub mod compared;
pub mod drawn;
pub mod front;
pub mod http;
pub mod marking;
pub mod pdf;
pub mod process;
pub mod random;
pub mod reference;
pub mod run;
pub mod tree;
pub mod truth;
pub mod vessels;
pub mod views;
