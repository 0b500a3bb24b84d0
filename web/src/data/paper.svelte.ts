// Whether the page is being printed: canvases give way to drawings that printers can scale.
export const paper = $state({ isPrinting: false });
