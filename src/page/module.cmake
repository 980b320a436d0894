# The core of the library as a WebAssembly module that pages hold, where its compiler is found. Each
# folder is one translation unit, as with DRYSHAFT_UNITY. The module is the same in every kind of
# build; the library holds it as a literal (src/page/embedded.cpp).
set(page_dir ${PROJECT_BINARY_DIR}/page)
set(page_literal ${PROJECT_BINARY_DIR}/literals/page/module.inc)
find_program(DRYSHAFT_WASM_COMPILER NAMES clang++-19 clang++-20 clang++-21
  DOC "clang++ with C and C++ libraries for wasm32-wasi; none: pages cannot grade")

# What it needs beside itself, Debian packages: lld, wasi-libc, libc++ and libc++abi -dev-wasm32,
# libclang-rt -dev-wasm32.
set(page_lacks "clang++-19")
if(DRYSHAFT_WASM_COMPILER)
  set(page_lacks "")
  foreach(part prog-name=wasm-ld file-name=crt1-reactor.o file-name=libc++.a file-name=libc++abi.a
      libgcc-file-name)
    execute_process(COMMAND ${DRYSHAFT_WASM_COMPILER} --target=wasm32-wasi -print-${part}
      OUTPUT_VARIABLE found OUTPUT_STRIP_TRAILING_WHITESPACE)
    if(NOT IS_ABSOLUTE "${found}" OR NOT EXISTS "${found}")
      list(APPEND page_lacks ${found})
    endif()
  endforeach()
endif()
if(page_lacks)
  list(JOIN page_lacks ", " page_lacks)
  message(STATUS "Pages that grade: not built, for want of ${page_lacks}")
  write_literal(page/module "\"\"sv,\n\"\"sv\n")
  return()
endif()
message(STATUS "Pages that grade: built by ${DRYSHAFT_WASM_COMPILER}")

# Headers alone of the packages: the others in their folder are this machine's.
find_path(page_fmt fmt/format.h REQUIRED NO_CACHE)
find_path(page_nlohmann nlohmann/json.hpp REQUIRED NO_CACHE)
file(MAKE_DIRECTORY ${page_dir}/include)
file(CREATE_LINK ${page_fmt}/fmt ${page_dir}/include/fmt SYMBOLIC)
file(CREATE_LINK ${page_nlohmann}/nlohmann ${page_dir}/include/nlohmann SYMBOLIC)
set(page_flags --target=wasm32-wasi -std=c++20 -Oz -DNDEBUG -fno-exceptions -fno-rtti -fno-c++-static-destructors
  -ffp-contract=off -ffunction-sections -fdata-sections
  # Without the separator fmt brings all of std::locale.
  -DFMT_HEADER_ONLY "-DFMT_STATIC_THOUSANDS_SEPARATOR=','" -DJSON_NOEXCEPTION -DDRYSHAFT_VERSION=\"${PROJECT_VERSION}\"
  -isystem ${page_dir}/include -I${PROJECT_SOURCE_DIR}/include -I${PROJECT_SOURCE_DIR}/src
  -I${PROJECT_BINARY_DIR}/literals)

set(page_objects "")
foreach(folder base vocabulary drawings record knowledge diagnose decide report form page)
  set(sources ${library_sources})
  list(FILTER sources INCLUDE REGEX "^${PROJECT_SOURCE_DIR}/src/${folder}/")
  # There are no files, no table of Unicode and no blank forms in a page, and no page in a page.
  list(FILTER sources EXCLUDE REGEX
    "/(knowledge/folder|record/look_alike|report/for_c|form/blank|page/blank|page/embedded)\\.cpp$")
  list(TRANSFORM sources REPLACE "(.+)" "#include \"\\1\"\n")
  list(JOIN sources "" sources)
  file(CONFIGURE OUTPUT ${page_dir}/${folder}.cpp CONTENT "${sources}" @ONLY)
  add_custom_command(OUTPUT ${page_dir}/${folder}.o
    COMMAND ${CMAKE_CXX_COMPILER_LAUNCHER} ${DRYSHAFT_WASM_COMPILER} ${page_flags}
      -MD -MF page/${folder}.d -MT page/${folder}.o -c ${page_dir}/${folder}.cpp -o page/${folder}.o
    DEPENDS ${page_dir}/${folder}.cpp DEPFILE ${page_dir}/${folder}.d
    WORKING_DIRECTORY ${PROJECT_BINARY_DIR} COMMENT "Compiling ${folder} for pages" VERBATIM)
  list(APPEND page_objects ${page_dir}/${folder}.o)
endforeach()

set(page_exports "")
foreach(name room loaded graded form answered)
  list(APPEND page_exports -Wl,--export=dryshaft_${name})
endforeach()
add_custom_command(OUTPUT ${page_dir}/module.wasm
  COMMAND ${DRYSHAFT_WASM_COMPILER} --target=wasm32-wasi -mexec-model=reactor ${page_objects}
    -o module.wasm -Wl,--strip-all -Wl,--gc-sections -Wl,-z,stack-size=1048576 ${page_exports}
  DEPENDS ${page_objects}
  WORKING_DIRECTORY ${page_dir} COMMENT "Linking the module of pages" VERBATIM)
add_custom_command(OUTPUT ${page_literal}
  COMMAND sh ${PROJECT_SOURCE_DIR}/src/page/literal.sh module.wasm ${page_literal}
  DEPENDS ${page_dir}/module.wasm ${PROJECT_SOURCE_DIR}/src/page/literal.sh
  WORKING_DIRECTORY ${page_dir} VERBATIM)
target_sources(dryshaft PRIVATE ${page_literal})
