//! The notebook kernel.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    evcxr::runtime_hook();
    evcxr_jupyter::main()
}
