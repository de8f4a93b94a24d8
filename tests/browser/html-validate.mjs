// What html-validate is asked of a page: its recommended set and its rules for whole documents, minus the rules below.
// Each exception says why it is about taste or about hand-written source, and not about a fault a reader can meet.

export default {
  root: true,
  extends: ['html-validate:recommended', 'html-validate:document'],
  rules: {
    // Layout of generated source: nobody reads it, browsers do not care.
    'no-trailing-whitespace': 'off',
    'attribute-boolean-style': 'off',
    'attr-quotes': 'off',
    'doctype-style': 'off',
    'void-style': 'off',
    // A write-up is one self-contained file: no external style sheet, no script to take a hash of.
    'require-sri': 'off',
    // Charts and bars carry their width in a style attribute; it comes from a number, never from the record's text.
    'no-inline-style': 'off',
    // Titles carry the name of a pack and may be longer than a search engine shows.
    'long-title': 'off',
    // HTML knows a <main> with sections; a named region for a table that scrolls sideways is what WAI advises.
    'prefer-native-element': ['error', { exclude: ['region', 'img'] }],
  },
};
