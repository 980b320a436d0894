#include <array>

#include "page/page.hpp"

namespace dryshaft::page {
namespace {

std::array<std::string_view, 2> embedded() {
  using namespace std::string_view_literals;
  return {
#include "page/module.inc"
  };
}

}  // namespace

std::string_view module_base64() { return embedded()[0]; }
std::string_view module_sha256() { return embedded()[1]; }

}  // namespace dryshaft::page
