for (const table of document.querySelectorAll('table.sortable')) {
  const heads = table.querySelectorAll('thead th');
  const key = (row, column) => {
    const cell = row.cells[column];
    return cell.dataset.v ?? cell.textContent.trim().replace(/\u202f/g, '').replace(/^\u2212/, '-');
  };
  heads.forEach((head, column) => {
    const button = document.createElement('button');
    button.type = 'button';
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener('click', () => {
      const up = head.getAttribute('aria-sort') === 'descending';
      heads.forEach(other => other.removeAttribute('aria-sort'));
      head.setAttribute('aria-sort', up ? 'ascending' : 'descending');
      const rows = [...table.tBodies[0].rows].sort((one, other) => {
        const a = key(one, column), b = key(other, column), x = parseFloat(a), y = parseFloat(b);
        const order = isNaN(x) || isNaN(y) ? a.localeCompare(b) : x - y;
        return up ? order : -order;
      });
      table.tBodies[0].append(...rows);
    });
  });
}
