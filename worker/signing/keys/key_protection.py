"""How hard it is to guess the passphrase of a PKCS#12 file that got into wrong hands."""

from asn1crypto import pkcs12

# What OWASP's password storage guidance asks of PBKDF2 with SHA-256 is 600,000; older files are told of, not refused.
FEWEST_ROUNDS = 100_000


def weakness_of(content: bytes) -> str | None:
    """Say why a readable PKCS#12 file is weakly kept; `None` where it is not, or where it does not say."""
    try:
        bundle = pkcs12.Pfx.load(content)
        rounds = [(_kdf(bag), _rounds(bag)) for bag in _key_bags(bundle)]
    except (ValueError, TypeError, LookupError, AttributeError):
        return None
    for kdf, count in rounds:
        if kdf != "pbkdf2":
            return f"its key is encrypted in the old way ({kdf})"
        if count < FEWEST_ROUNDS:
            return f"its passphrase is hashed {count} times"
    return None


def _key_bags(bundle: pkcs12.Pfx) -> list[pkcs12.SafeBag]:
    return [
        bag
        for info in bundle.authenticated_safe
        if info["content_type"].native == "data"
        for bag in pkcs12.SafeContents.load(info["content"].native)
        if bag["bag_id"].native == "pkcs8_shrouded_key_bag"
    ]


def _kdf(bag: pkcs12.SafeBag) -> str:
    return str(bag["bag_value"]["encryption_algorithm"].kdf)


def _rounds(bag: pkcs12.SafeBag) -> int:
    return int(bag["bag_value"]["encryption_algorithm"].kdf_iterations)
