#include "report/detail/base64.hpp"

namespace backeddy::report::detail {

std::string base64(std::string_view bytes) {
    constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string out;
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        const std::size_t left = bytes.size() - i;
        const auto byte = [&](std::size_t k) {
            return k < left ? static_cast<unsigned>(static_cast<unsigned char>(bytes[i + k])) : 0U;
        };
        const unsigned word = (byte(0) << 16U) | (byte(1) << 8U) | byte(2);
        out += digits[(word >> 18U) & 63U];
        out += digits[(word >> 12U) & 63U];
        out += left > 1 ? digits[(word >> 6U) & 63U] : '=';
        out += left > 2 ? digits[word & 63U] : '=';
    }
    return out;
}

} // namespace backeddy::report::detail
