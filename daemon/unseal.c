#include "daemon/unseal.h"

#include <assert.h>
#include <string.h>

#include <openssl/evp.h>

/* The order is libcrypto's: lengths and tag before key and nonce. It takes the tag as not const. */
static bool begin(EVP_CIPHER_CTX *c, const uint8_t *key, const uint8_t *nonce, const uint8_t *tag)
{
	uint8_t copy[BTHOME_TAG];
	memcpy(copy, tag, sizeof copy);
	return EVP_DecryptInit_ex(c, EVP_aes_128_ccm(), NULL, NULL, NULL) == 1 &&
	       EVP_CIPHER_CTX_ctrl(c, EVP_CTRL_AEAD_SET_IVLEN, BTHOME_NONCE, NULL) == 1 &&
	       EVP_CIPHER_CTX_ctrl(c, EVP_CTRL_AEAD_SET_TAG, BTHOME_TAG, copy) == 1 &&
	       EVP_DecryptInit_ex(c, NULL, NULL, key, nonce) == 1;
}

enum rc unseal(const uint8_t key[BTHOME_KEY], const uint8_t nonce[BTHOME_NONCE],
	const uint8_t *sealed, size_t n, const uint8_t tag[BTHOME_TAG], uint8_t *plain,
	struct err *err)
{
	assert(n <= BTHOME_MAX);
	if (n == 0)
		return err_set(err, RC_INPUT, "encrypted, and empty");
	EVP_CIPHER_CTX *c = EVP_CIPHER_CTX_new();
	int length = 0;
	enum rc rc = RC_OK;
	if (!c || !begin(c, key, nonce, tag))
		rc = err_set(err, RC_IO, "libcrypto can not decipher");
	else if (EVP_DecryptUpdate(c, plain, &length, sealed, (int)n) != 1 || length != (int)n)
		rc = err_set(err, RC_INPUT, "not encrypted with this key, or changed on its way");
	if (rc != RC_OK)
		explicit_bzero(plain, n);
	EVP_CIPHER_CTX_free(c);
	return rc;
}
