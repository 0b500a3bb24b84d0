#include "server/detail/qr.hpp"

#include <memory>
#include <stdexcept>

#include <fmt/format.h>
#include <qrencode.h>

namespace backeddy::server {

namespace {

constexpr int border = 4;

struct Free {
    void operator()(QRcode* code) const { QRcode_free(code); }
};

} // namespace

std::string qr_svg(std::string_view text) {
    const std::unique_ptr<QRcode, Free> code(
        QRcode_encodeString(std::string(text).c_str(), 0, QR_ECLEVEL_M, QR_MODE_8, 1));
    if (!code) {
        throw std::runtime_error("no QR code can be made of this text");
    }
    const int width = code->width;
    std::string path;
    for (int row = 0; row < width; ++row) {
        for (int column = 0; column < width;) {
            const auto is_dark = [&](int at) {
                return at < width && (code->data[row * width + at] & 1) != 0;
            };
            int end = column;
            while (is_dark(end)) {
                ++end;
            }
            if (end > column) {
                path += fmt::format("M{} {}h{}v1h-{}z", column + border, row + border, end - column,
                                    end - column);
            }
            column = end + 1;
        }
    }
    const int side = width + 2 * border;
    return fmt::format(
        R"(<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {0} {0}" )"
        R"(shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{0}v{0}H0z"/><path d="{1}"/></svg>)",
        side, path);
}

} // namespace backeddy::server
