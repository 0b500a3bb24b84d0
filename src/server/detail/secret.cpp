#include "server/detail/secret.hpp"

#include <algorithm>
#include <array>
#include <stdexcept>

#include <sodium.h>

namespace backeddy::server {

void start_sodium() {
    static const int started = sodium_init();
    if (started < 0) {
        throw std::runtime_error("libsodium found no source of random numbers on this machine");
    }
}

std::string random_secret() {
    start_sodium();
    std::array<unsigned char, 32> bytes{};
    randombytes_buf(bytes.data(), bytes.size());
    constexpr int variant = sodium_base64_VARIANT_URLSAFE_NO_PADDING;
    std::string out(sodium_base64_ENCODED_LEN(bytes.size(), variant), '\0');
    sodium_bin2base64(out.data(), out.size(), bytes.data(), bytes.size(), variant);
    out.pop_back(); // its closing zero
    return out;
}

std::string random_code(std::size_t length) {
    start_sodium();
    constexpr std::string_view letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    std::string out(length, ' ');
    std::ranges::generate(out, [&] { return letters[randombytes_uniform(letters.size())]; });
    return out;
}

bool same_secret(std::string_view a, std::string_view b) {
    return a.size() == b.size() && sodium_memcmp(a.data(), b.data(), a.size()) == 0;
}

} // namespace backeddy::server
