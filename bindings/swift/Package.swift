// swift-tools-version: 5.9
// Generated/ holds what bindings/generate writes for Swift, a folder a module as named below; the
// library of bindings/build-phone is found with -Xlinker -L.
import PackageDescription

let package = Package(
    name: "Firnbook",
    products: [.library(name: "Firnbook", targets: ["Firnbook"])],
    targets: [
        .systemLibrary(name: "FirnbookLogFFI", path: "Generated/FirnbookLogFFI"),
        .systemLibrary(name: "FirnbookFFI", path: "Generated/FirnbookFFI"),
        .target(name: "FirnbookLog", dependencies: ["FirnbookLogFFI"], path: "Generated/FirnbookLog"),
        .target(
            name: "Firnbook",
            dependencies: ["FirnbookLog", "FirnbookFFI"],
            path: "Generated/Firnbook",
            linkerSettings: [.linkedLibrary("firnbook_bindings")]
        ),
    ]
)
